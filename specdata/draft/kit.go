package draft

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/wording"
)

// wrench returns the id of the smallest torque wrench of the usual set that shows the
// whole acceptance band of a stage, and its drive square, and lists it among the
// tools. An angle is turned with the angle gauge.
func (w *writer) wrench(f *specdata.Fastener, st specdata.Stage) string {
	if !st.Angle.IsZero() {
		return w.tool(specdata.Tool{ID: "angle-gauge", Title: "Angle gauge with its bar", Kind: "angle-gauge"})
	}
	if st.Torque.IsZero() {
		return ""
	}
	low, high := f.Tightening.Bounds(&st)
	if k, ok := wording.WrenchFor(low, high); ok {
		newtonMetres := func(v float64) specdata.Quantity { return specdata.MustQuantity(fmt.Sprintf("%g N.m", v)) }
		return w.tool(specdata.Tool{ID: "torque-" + k.Size, Title: "Torque wrench, " + k.Size, Kind: "torque-wrench", From: newtonMetres(k.From), To: newtonMetres(k.To), Square: specdata.MustQuantity(k.Square)})
	}
	w.missing = append(w.missing, "no torque wrench of the usual set covers "+specdata.Metric(st.Torque)+" of "+specdata.InSentence(f.Title)+" with its tolerance; name one")
	return ""
}

// squareOf returns the drive square of the wrench for the last torque of a fastener.
func (w *writer) squareOf(f *specdata.Fastener) specdata.Quantity {
	for _, st := range slices.Backward(f.Tightening.Stages) {
		if id := w.wrench(f, st); id != "" && !st.Torque.IsZero() {
			return w.procedure.ToolOf(id).Square
		}
	}
	return specdata.Quantity{}
}

func (w *writer) tool(t specdata.Tool) string {
	if !w.procedure.HasTool(t.ID) {
		w.procedure.Tools = append(w.procedure.Tools, t)
	}
	return t.ID
}

func (w *writer) consumable(c specdata.Consumable) string {
	p := w.procedure
	if !slices.ContainsFunc(p.Consumables, func(o specdata.Consumable) bool { return o.ID == c.ID }) {
		p.Consumables = append(p.Consumables, c)
	}
	return c.ID
}

// drive lists the socket, bit or key that turns a fastener.
func (w *writer) drive(f *specdata.Fastener) {
	turned, held := f.Drive.Head, f.Drive.Nut
	if f.Drive.Turn == "nut" {
		turned, held = held, turned
	}
	if turned == "" {
		return
	}
	square := w.squareOf(f)
	kind, name := "socket", "Socket "
	form, _, _ := strings.Cut(turned, " ")
	switch form {
	case "knurled":
		return
	case "slot", "cross":
		kind, name = "bit", "Screwdriver bit "
	case "hexalobular", "hex-key":
		name = "Bit socket "
	case "flats":
		// A union: the pipe runs through it, so no socket goes over it.
		kind, name = "spanner", "Crow-foot spanner "
	case "hex":
		if f.Joint == specdata.JointUnion {
			kind, name = "spanner", "Crow-foot spanner "
		} else if f.Drive.Turn == "nut" && strings.HasPrefix(held, "hex-key") {
			name = "Pass-through socket " // the key holds the stud through it
		}
	}
	id := kebab(name + turned)
	if kind == "socket" && !square.IsZero() {
		id += "-" + kebab(square.String())
	}
	w.tool(specdata.Tool{ID: clipID(id), Title: name + size(turned), Kind: kind, Size: turned, Square: square})
}

// held lists the tool that holds what must not turn and returns its id, "" where
// nothing is held or the record does not say what with.
func (w *writer) held(f *specdata.Fastener) string {
	h := f.Tightening.Hold
	if h == nil || strings.HasPrefix(h.With, "hand") {
		return ""
	}
	t := specdata.Tool{ID: clipID(kebab("hold-" + h.With)), Title: title(h.With), Kind: "holder"}
	against := f.Drive.Nut
	if f.Drive.Turn == "nut" {
		against = f.Drive.Head
	}
	if against != "" && against != "knurled" {
		t.Kind, t.Size = "spanner", against
		if strings.HasPrefix(against, "hex-key") {
			t.Kind = "hex-key"
		}
	} else if m := millimetres.FindString(h.With); m != "" {
		t.Size = "hex " + m
		if strings.Contains(h.With, "key") {
			t.Kind, t.Size = "hex-key", "hex-key "+m
		}
	}
	return w.tool(t)
}

var millimetres = regexp.MustCompile(`[1-9][0-9]? mm`)

// size returns the size of a drive for a tool's title: "19 mm" for "hex 19 mm".
func size(drive string) string {
	return strings.Replace(strings.TrimPrefix(drive, "hex "), "hex-key", "hex key", 1)
}

// kebab turns words into an id.
func kebab(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.Trim(b.String(), "-")
}
