package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
)

// torqueWindow is where a fastener's torque lies between slack and breaking.
type torqueWindow struct {
	// Drawing is empty where no bound could be worked out; Not says why.
	Drawing template.HTML
	// Says is the verdict in one sentence.
	Says string
	// Bounds are the limits in words, in order of torque, Lines the whole arithmetic.
	Bounds []string
	Lines  []joint.Line
	Not    []string
}

// zone is a stretch of the drawing from one bound to the next.
type zone struct {
	name     string
	from, to float64
}

// windowOf judges a fastener and draws its window; nil without a tightening torque.
func windowOf(f *specdata.Fastener) *torqueWindow {
	if f == nil || f.Tightening == nil {
		return nil
	}
	in, unread := joint.FromFastener(f)
	if in.Torque == 0 {
		return nil
	}
	v := joint.Judge(in)
	w := &torqueWindow{Says: sentence(v.Summary()), Lines: v.Lines()}
	for _, n := range append(unread, v.NotChecked...) {
		w.Not = append(w.Not, string(n.Check)+": "+n.Why)
	}
	if zones := zonesOf(&v.Window); len(zones) > 0 && v.Class != joint.NotJudged {
		w.Drawing = drawWindow(zones, in)
		for i, z := range zones {
			switch {
			case i == 0:
				w.Bounds = append(w.Bounds, fmt.Sprintf("%s below %s N·m", z.name, round(z.to)))
			case i == len(zones)-1:
				w.Bounds = append(w.Bounds, fmt.Sprintf("%s above %s N·m", z.name, round(z.from)))
			default:
				w.Bounds = append(w.Bounds, fmt.Sprintf("%s from %s to %s N·m", z.name, round(z.from), round(z.to)))
			}
		}
	}
	return w
}

// zonesOf lists the zones that a window has, without gaps, from no torque upwards.
func zonesOf(w *joint.Window) []zone {
	var zones []zone
	// Where there is no clamp to lose, a low torque is judged by nobody: the bolt
	// carries it.
	at, name := 0.0, "carried"
	if w.Slack.Torque > 0 {
		name = "slack"
	}
	for _, b := range []struct {
		bound joint.Bound
		above string
	}{{w.Slack, "low"}, {w.Low, "usual"}, {w.High, "high"}, {w.MayYield, "may yield"}, {w.OverYield, "yields"}, {w.Breaks, "breaks"}} {
		if b.bound.Torque <= 0 {
			continue
		}
		if b.bound.Torque > at { // bounds that fall together leave no zone between them
			zones = append(zones, zone{name, at, b.bound.Torque})
			at = b.bound.Torque
		}
		name = b.above
	}
	if len(zones) == 0 {
		return nil
	}
	return append(zones, zone{name, at, math.Inf(1)})
}

// The drawing is 360 wide, the width of a narrow phone, so that its letters are never
// smaller there than they are drawn.
const (
	drawnWidth = 360.0
	drawnLeft  = 6.0
)

// drawWindow draws the zones as a bar, the torque and its range as a mark on it.
func drawWindow(zones []zone, in joint.Input) template.HTML {
	end := max(1.12*zones[len(zones)-1].from, 1.15*in.Torque)
	x := func(torque float64) float64 { return drawnLeft + min(torque, end)/end*(drawnWidth-2*drawnLeft) }
	var b strings.Builder
	value := round(in.Torque) + " N·m"
	if in.Snug > 0 && in.Angle > 0 {
		value = "start " + round(in.Torque) + " N·m"
	}
	fmt.Fprintf(&b, `<svg class="window" viewBox="0 0 %g 118" role="img" aria-label="Torque window: %s">`, drawnWidth, template.HTMLEscapeString(value))
	// The value, over the bar.
	at := x(in.Torque)
	anchor, text := "middle", at
	switch {
	case at < 60:
		anchor, text = "start", drawnLeft
	case at > drawnWidth-60:
		anchor, text = "end", drawnWidth-drawnLeft
	}
	fmt.Fprintf(&b, `<text class="here" x="%.1f" y="16" text-anchor="%s">%s</text><path class="mark" d="M%.1f 36 l-7 -14 h14 z"/>`, text, anchor, template.HTMLEscapeString(value), at)
	if in.Tolerance > 0 {
		fmt.Fprintf(&b, `<rect class="band" x="%.1f" y="33" width="%.1f" height="3"/>`, x(in.Torque*(1-in.Tolerance)), x(in.Torque*(1+in.Tolerance))-x(in.Torque*(1-in.Tolerance)))
	}
	row, last := 0, -100.0
	for i, z := range zones {
		from, to := x(z.from), x(z.to)
		fmt.Fprintf(&b, `<rect class="zone %s" x="%.1f" y="38" width="%.1f" height="22"/>`, strings.ReplaceAll(z.name, " ", "-"), from, to-from)
		if width := 6.2 * float64(len(z.name)); width < to-from {
			fmt.Fprintf(&b, `<text class="name" x="%.1f" y="53" text-anchor="middle">%s</text>`, (from+to)/2, z.name)
		}
		if i == 0 {
			continue
		}
		// The number of the bound, under it, a line lower where the last is too near.
		label := round(z.from)
		if from-last < 7*float64(len(label))+6 {
			row++
		} else {
			row = 0
		}
		y := 74 + 14*(row%3)
		fmt.Fprintf(&b, `<path class="tick" d="M%.1f 60 V%d"/><text class="limit" x="%.1f" y="%d" text-anchor="middle">%s</text>`, from, y-10, min(from, drawnWidth-12), y, label)
		last = from
	}
	fmt.Fprintf(&b, `<text class="limit" x="%g" y="115" text-anchor="end">N·m</text></svg>`, drawnWidth-drawnLeft)
	return template.HTML(b.String())
}

// round writes a torque with no more digits than friction leaves room for.
func round(x float64) string {
	switch {
	case x >= 100:
		return fmt.Sprintf("%.0f", x)
	case x >= 10:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", x), ".0")
	}
	return strings.TrimSuffix(fmt.Sprintf("%.2f", x), ".00")
}
