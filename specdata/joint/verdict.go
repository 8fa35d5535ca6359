package joint

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Line is one line of a verdict's arithmetic.
type Line struct {
	// Name says what the value is.
	Name string
	// Value is the value in Unit, NaN where the line is words.
	Value float64
	Unit  string
	// Text is the value as shown, with its unit.
	Text string
	// From is where it comes from: the formula, the table or the record.
	From string
}

// String returns the line as findings print it: "clamp load at µ 0.12: 38 kN (…)".
func (l Line) String() string {
	if l.From == "" {
		return l.Name + ": " + l.Text
	}
	return l.Name + ": " + l.Text + " (" + l.From + ")"
}

// significant prints three significant digits without an exponent: friction and
// tolerance leave no room for more.
func significant(x float64) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	places := max(0, 2-int(math.Floor(math.Log10(math.Abs(x)))))
	s := strconv.FormatFloat(x, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// exactly prints a size or a stated value: as many digits as it has, up to a micrometre.
func exactly(x float64) string {
	return strconv.FormatFloat(math.Round(x*1e3)/1e3, 'f', -1, 64)
}

// lines collects arithmetic.
type lines []Line

func (ls *lines) words(name, text, from string) {
	*ls = append(*ls, Line{Name: name, Value: math.NaN(), Text: text, From: from})
}

func (ls *lines) value(name string, x float64, unit, from string) {
	*ls = append(*ls, Line{name, x, unit, strings.TrimSuffix(significant(x)+" "+unit, " "), from})
}

func (ls *lines) size(name string, m float64, from string) {
	x := m / millimetre
	*ls = append(*ls, Line{name, x, "mm", exactly(x) + " mm", from})
}

func (ls *lines) share(name string, x float64, from string) {
	*ls = append(*ls, Line{name, 100 * x, "%", strconv.FormatFloat(100*x, 'f', 0, 64) + " %", from})
}

func (ls *lines) bound(name string, b Bound, from string) {
	if b.Torque > 0 {
		ls.value(name, b.Torque, "N·m", from+", at µ "+b.Mu.String())
	}
}

// String returns one number where both are the same.
func (m Mu) String() string {
	if m.Thread == m.Head {
		return strconv.FormatFloat(m.Thread, 'f', 2, 64)
	}
	return strconv.FormatFloat(m.Thread, 'f', 2, 64) + " thread, " + strconv.FormatFloat(m.Head, 'f', 2, 64) + " head"
}

// String returns "0.10 to 0.16".
func (b Band) String() string {
	return strconv.FormatFloat(b.Low, 'f', 2, 64) + " to " + strconv.FormatFloat(b.High, 'f', 2, 64)
}

// Lines is the arithmetic of the verdict in the order one would do it by hand.
func (v *Verdict) Lines() []Line {
	p := &v.Input
	if p.Thread.IsZero() || v.Against.IsZero() {
		return nil
	}
	t := p.Thread
	low, high := Mu{p.ThreadBand.Low, p.HeadBand.Low}, Mu{p.ThreadBand.High, p.HeadBand.High}
	ls := make(lines, 0, 48)
	ls.words("joint", string(p.Kind), "decides which limits apply")
	ls.words("thread", t.String(), t.Series.String())
	ls.size("diameter d", t.Major, "designation")
	ls.size("pitch P", t.Pitch, "designation")
	ls.size("pitch diameter d2", t.PitchDiameter(), "d − 0.649519 P, ISO 724")
	ls.size("stress diameter ds", t.StressDiameter(), "(d2 + d3)/2, ISO 898-1; D − 0.9743/n, ASME B1.1")
	ls.value("stress area As", t.NominalArea()*1e6, "mm²", "π/4 ds²")
	if p.Bolt.IsZero() {
		ls.words("bolt class", "not stated", "the strongest that exists is taken: "+v.Against.Name)
	} else {
		ls.words("bolt class", p.Bolt.Name, p.Bolt.Standard)
	}
	ls.value("least yield", v.Against.Yield/mpa, "MPa", v.Against.Standard)
	ls.value("least tensile strength", v.Against.Tensile/mpa, "MPa", v.Against.Standard)
	if v.Against.Proof > 0 {
		ls.value("proof load", v.Against.Proof*t.StressArea()/1e3, "kN", v.Against.Standard+" × As")
	}
	if p.ThreadBand == p.HeadBand {
		ls.words("friction", p.ThreadBand.String(), p.ThreadBand.From)
	} else {
		ls.words("friction in the thread", p.ThreadBand.String(), p.ThreadBand.From)
		ls.words("friction under the head", p.HeadBand.String(), p.HeadBand.From)
	}
	if t.Bore > 0 || t.Neck > 0 {
		ls.value("least section", t.StressArea()*1e6, "mm²", fmt.Sprintf("over %s mm, less the bore of %s mm, VDI 2230 A0", exactly(t.section()/millimetre), exactly(t.Bore/millimetre)))
	}
	if p.Bearing.Wedge > 0 {
		ls.size("mean diameter of the seat", p.Bearing.MeanDiameter(), "as stated, or 1.25 to 1.55 d (common practice)")
	}
	ls.size("bearing diameter Db", p.Bearing.EffectiveDiameter(), "(dw + dh)/2: "+p.Bearing.From)
	if p.Wide != p.Bearing {
		ls.size("bearing diameter Db, at most", p.Wide.EffectiveDiameter(), p.Wide.From)
	}
	ls.value("torque per clamp load, lowest friction", Lever(t, p.Bearing, low)/millimetre, "N·m/kN", "P/2π + 0.577 d2 µ + Db/2 µ, VDI 2230 R13")
	ls.value("torque per clamp load, highest friction", Lever(t, p.Wide, high)/millimetre, "N·m/kN", "the same at µ "+high.String())
	ls.value("nut factor K", v.NutFactor, "", "T = K d F, at the usual friction")
	if p.AddHigh > 0 {
		ls.words("prevailing torque added at the wrench", significant(p.AddLow)+" to "+significant(p.AddHigh)+" N·m", "measured while running down")
		if p.Torque > 0 {
			ls.words("reading on the wrench", significant(p.Torque+p.AddLow)+" to "+significant(p.Torque+p.AddHigh)+" N·m", "value and prevailing torque")
		}
	}
	if p.DragHigh > 0 {
		ls.words("prevailing torque in the reading", significant(p.DragLow)+" to "+significant(p.DragHigh)+" N·m", "taken off before clamp")
	}
	if p.Torque > 0 {
		v.torqueLines(&ls, low, high)
	}
	ls.bound("slack below", v.Window.Slack, "15 % of proof load")
	ls.bound("low below", v.Window.Low, "35 % of proof load")
	ls.bound("high above", v.Window.High, "90 % of yield")
	if v.Window.MayYield.Mu == v.Window.High.Mu {
		ls.bound("may yield above", v.Window.MayYield, "yield")
	} else {
		ls.bound("may yield above", v.Window.MayYield, "90 % of yield at the usual friction, with 1 % for rounding")
	}
	ls.bound("over yield above", v.Window.OverYield, "yield of "+v.Against.Name)
	ls.bound("breaks above", v.Window.Breaks, "tensile strength of "+v.Against.Name)
	v.turnLines(&ls)
	v.threadLines(&ls)
	v.seatLines(&ls)
	return ls
}

func (v *Verdict) torqueLines(ls *lines, low, high Mu) {
	p := &v.Input
	from := "as stated"
	if p.Tolerance > 0 {
		from = fmt.Sprintf("as stated, ±%s %%: %s to %s N·m", significant(100*p.Tolerance), significant(p.Torque*(1-p.Tolerance)), significant(p.Torque*(1+p.Tolerance)))
	}
	ls.value("torque", p.Torque, "N·m", from)
	if p.Final != p.Torque {
		ls.value("torque it is left with", p.Final, "N·m", "as stated")
	}
	ls.value("clamp load, highest friction", v.ClampLow/1e3, "kN", "T/(torque per clamp load), µ "+high.String())
	ls.value("clamp load, lowest friction", v.ClampHigh/1e3, "kN", "the same, µ "+low.String())
	ls.value("clamp load, least", v.ReachLow/1e3, "kN", fmt.Sprintf("highest friction and ±%s %% of the torque", significant(100*v.Scatter)))
	ls.value("clamp load, most", v.ReachHigh/1e3, "kN", "lowest friction and the same")
	if v.ReachLow > 0 {
		ls.value("tightening factor αA", v.ReachHigh/v.ReachLow, "", "most over least clamp load, VDI 2230 R1")
	}
	ls.share("share of proof load, lowest friction", v.ProofHigh, "clamp over proof load")
	ls.share("share of yield, mildest friction", v.YieldLow, "√(σ² + 3τ²) over yield, fully plastic torsion, VDI 2230 R8, µ "+v.Mildest.String())
	ls.share("share of yield, hardest friction", v.YieldHigh, "the same, µ "+v.Hardest.String())
}

func (v *Verdict) turnLines(ls *lines) {
	p, r := &v.Input, &v.Turn
	if !r.Checked {
		return
	}
	ls.value("torque before the angle", p.Snug, "N·m", "as stated")
	ls.words("clamp load before the angle", significant(r.SnugLow/1e3)+" to "+significant(r.SnugHigh/1e3)+" kN", "over the friction band")
	ls.value("angle", p.Angle*180/pi, "°", "as stated")
	ls.size("clamped length", p.Grip, "as stated")
	ls.words("clamp load the angle adds, elastic", significant(r.AddedLow/1e3)+" to "+significant(r.AddedHigh/1e3)+" kN", "angle/360° P/(δS + δP), VDI 2230 5.1: threaded bolt to full shank")
	ls.words("clamp load at yield", significant(r.YieldLow/1e3)+" to "+significant(r.YieldHigh/1e3)+" kN", "over the friction band")
	ls.words("clamp load reached", significant(r.ClampLow/1e3)+" to "+significant(r.ClampHigh/1e3)+" kN", r.Passing.String())
	if r.PlasticStretch > 0 {
		ls.value("stretch past yield, at most", r.PlasticStretch/millimetre, "mm", "what the elastic load has over yield × (δS + δP)")
	}
}

// seatLines is the pressure under the head, what settling costs and warming adds, and
// where the bolt ends.
func (v *Verdict) seatLines(ls *lines) {
	p := &v.Input
	if r := &v.Pressure; r.Checked {
		ls.words("pressure on "+p.On.Name, significant(r.Low/mpa)+" to "+significant(r.High/mpa)+" MPa", fmt.Sprintf("clamp load over a ring of %s by %s mm: %s", exactly(r.Face.Outer/millimetre), exactly(r.Face.Hole/millimetre), r.Face.From))
		ls.words("what "+p.On.Name+" bears", significant(r.LimitLow/mpa)+" to "+significant(r.LimitHigh/mpa)+" MPa", "VDI 2230, weakest to strongest of the name")
	}
	if e := &v.Embedding; e.Checked {
		ls.words("clamp load that settling costs", significant(e.LossLow/1e3)+" to "+significant(e.LossHigh/1e3)+" kN", "fZ/(δS + δP), VDI 2230 R4")
	}
	if v.WarmHigh != 0 {
		ls.words("clamp load that warming adds", significant(v.WarmLow/1e3)+" to "+significant(v.WarmHigh/1e3)+" kN", fmt.Sprintf("(αP − αS) ΔT l/(δS + δP), %s K", significant(p.Stack.Rise)))
	}
	if v.BottomChecked {
		ls.size("thread left under the bolt", v.Bottom, "depth of full thread less what the bolt reaches in")
	}
	if v.Plug.High > 0 {
		ls.words("usual torque of such a plug", significant(v.Plug.Low)+" to "+significant(v.Plug.High)+" N·m", "makers' tables by thread, seat and head")
		if v.Plug.Breaks > 0 {
			ls.value("breaks at about", v.Plug.Breaks, "N·m", "common practice")
		}
	}
}

func (v *Verdict) threadLines(ls *lines) {
	p := &v.Input
	if s := &v.StudEnd; s.Checked {
		ls.size("engaged thread of the stud's other end", p.StudEngagement, "as stated")
		ls.words("load that strips it", significant(s.TappedLow/1e3)+" to "+significant(s.TappedHigh/1e3)+" kN", p.StudInto.Name)
	}
	if s := &v.Stripping; s.Checked {
		ls.size("engaged thread", p.Engagement, "as stated")
		ls.words("engagement from which the bolt breaks first", significant(s.NeededLow/millimetre)+" to "+significant(s.NeededHigh/millimetre)+" mm", "FED-STD-H28, strong to weak "+p.Into.Name)
		ls.words("load that strips the tapped thread", significant(s.TappedLow/1e3)+" to "+significant(s.TappedHigh/1e3)+" kN", fmt.Sprintf("%s, %s to %s MPa", p.Into.Name, significant(p.Into.TensileLow/mpa), significant(p.Into.TensileHigh/mpa)))
		ls.value("load that strips the bolt's thread", s.ThreadLoad/1e3, "kN", "0.6 Rm over the sheared area")
		ls.value("load that breaks the bolt", s.BoltLoad/1e3, "kN", "As Rm")
		ls.words("first to give way", s.First.String(), "weakest of the three")
	}
	if n := &v.Nut; n.Checked {
		ls.value("nut proof load", n.ProofLoad/1e3, "kN", "class "+p.Nut.Name+" × 100 MPa × As, BS 3692")
		if n.Pairs {
			ls.words("nut", "class "+p.Nut.Name+" carries "+p.Bolt.Name, "ISO 898-2 pairing")
		} else {
			ls.words("nut", "class "+p.Nut.Name+" is under class "+n.Least.Name+", the least for "+p.Bolt.Name, "ISO 898-2 pairing")
		}
	}
}

// Summary is the verdict in one sentence, lower case, without the arithmetic.
func (v *Verdict) Summary() string {
	p, w := &v.Input, &v.Window
	nm := func(x float64) string { return significant(x) + " N·m" }
	if v.Turn.Checked && !v.Class.Impossible() {
		return v.endState(nm)
	}
	bolt := "the bolt (" + v.Against.Name + ")"
	if p.Bolt.IsZero() {
		bolt = "a bolt of the strongest class (" + v.Against.Name + ")"
	}
	switch v.Class {
	case Slack:
		return fmt.Sprintf("%s is slack: even at µ %s it clamps with %s kN, %.0f %% of the proof load; from %s it clamps", nm(p.Final), w.Slack.Mu, significant(v.finalClamp()/1e3), 100*v.finalShare(), nm(w.Low.Torque))
	case Low:
		return fmt.Sprintf("%s is low: even at µ %s it clamps with %s kN, %.0f %% of the proof load; usual is from %s", nm(p.Final), w.Low.Mu, significant(v.finalClamp()/1e3), 100*v.finalShare(), nm(w.Low.Torque))
	case Good:
		return fmt.Sprintf("%s is good: %.0f to %.0f %% of the yield of %s over friction %s", nm(p.Torque), 100*v.YieldLow, 100*v.YieldHigh, v.Against.Name, p.ThreadBand)
	case High:
		return fmt.Sprintf("%s is high: %.0f %% of the yield of %s at µ %s; up to %s stays under 90 %%", nm(p.Torque), 100*v.YieldHigh, v.Against.Name, w.High.Mu, nm(w.High.Torque))
	case MayYield:
		return fmt.Sprintf("%s may yield the bolt: %.0f %% of the yield of %s at µ %s and %.0f %% at µ %s; it is right only if friction is high", nm(p.Torque), 100*v.YieldHigh, v.Against.Name, w.High.Mu, 100*v.YieldLow, w.OverYield.Mu)
	case OverYield:
		return fmt.Sprintf("%s is over yield: even at µ %s %s yields at %s", nm(p.Torque), w.OverYield.Mu, bolt, nm(w.OverYield.Torque))
	case Breaks:
		return fmt.Sprintf("%s breaks the bolt: even at µ %s %s yields at %s and reaches its tensile strength at %s", nm(p.Torque), w.Breaks.Mu, bolt, nm(w.OverYield.Torque), nm(w.Breaks.Torque))
	}
	switch {
	case p.Torque > 0 && v.Plug.High > 0:
		s := fmt.Sprintf("%s: such a plug usually gets %s to %s", nm(p.Torque), significant(v.Plug.Low), nm(v.Plug.High))
		if v.Plug.Breaks > 0 {
			s += " and breaks near " + nm(v.Plug.Breaks)
		}
		return s
	case p.Torque > 0 && v.hollow() && !v.Against.IsZero() && !p.Bolt.IsZero():
		return fmt.Sprintf("%s is not judged: the piece is hollow and its bore is not stated; a solid one would stand at %.0f to %.0f %% of its yield", nm(p.Torque), 100*v.YieldLow, 100*v.YieldHigh)
	case p.Torque > 0:
		return nm(p.Torque) + " is not judged"
	}
	return "no torque is judged"
}

// endState is the sentence about a torque and an angle: what matters is where the bolt
// ends, not the torque it starts from.
func (v *Verdict) endState(nm func(float64) string) string {
	p, r := &v.Input, &v.Turn
	s := fmt.Sprintf("%s and %s° %s: it ends at %s to %s kN, where it yields at %s to %s kN", nm(p.Snug), significant(p.Angle*180/pi),
		[...]string{"keeps the bolt elastic", "may take the bolt past yield", "takes the bolt past yield, as such joints are made"}[r.Passing],
		significant(r.ClampLow/1e3), significant(r.ClampHigh/1e3), significant(r.YieldLow/1e3), significant(r.YieldHigh/1e3))
	if r.PlasticStretch > 0 {
		s += fmt.Sprintf(", stretched up to %s mm beyond", significant(r.PlasticStretch/millimetre))
	}
	return s
}

// Outside is what no verdict covers, the same list for every joint.
var Outside = []string{
	"loads in service: what pulls, bends or shakes the joint",
	"the force that closes a slit or bends a bolt before anything is clamped",
	"whether the clamped parts slip on each other, and fatigue",
	"gaskets, and parts that creep",
	"washers and heads that turn along, threads and seats that are worn, dirty or rusty",
	"heat beyond the warming stated",
}

// finalClamp is the clamp load in N from the torque the joint is left with, at the
// lowest friction.
func (v *Verdict) finalClamp() float64 {
	p := &v.Input
	return Clamp(p.Thread, p.Bearing, Mu{p.ThreadBand.Low, p.HeadBand.Low}, max(p.Final-p.DragLow, 0))
}

func (v *Verdict) finalShare() float64 {
	return v.finalClamp() / (v.Against.ProofOrYield() * v.Input.Thread.StressArea())
}

// Text is the verdict as plain text: the sentence, the arithmetic line by line,
// and what was not checked.
func (v *Verdict) Text() string {
	var b strings.Builder
	b.WriteString(v.Input.Thread.String())
	if !v.Input.Bolt.IsZero() {
		b.WriteString(" " + v.Input.Bolt.Name)
	}
	b.WriteString(": " + v.Summary() + "\n")
	ls := v.Lines()
	name, text := 0, 0
	for _, l := range ls {
		name, text = max(name, utf8.RuneCountInString(l.Name)), max(text, min(utf8.RuneCountInString(l.Text), 24))
	}
	if len(ls) > 0 {
		b.WriteByte('\n')
	}
	for _, l := range ls {
		b.WriteString("  " + pad(l.Name, name) + "  " + pad(l.Text, text) + "  " + l.From + "\n")
	}
	if len(v.NotChecked) > 0 {
		b.WriteString("\nnot checked:\n")
	}
	for _, n := range v.NotChecked {
		b.WriteString("  " + string(n.Check) + ": " + n.Why)
		if n.Missing != "" {
			b.WriteString(" (" + n.Missing + ")")
		}
		b.WriteByte('\n')
	}
	b.WriteString("\nnot part of this answer:\n")
	for _, o := range Outside {
		b.WriteString("  " + o + "\n")
	}
	return b.String()
}

func pad(s string, n int) string {
	return s + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s)))
}
