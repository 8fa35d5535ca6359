package web

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/joint"
)

// wellFormed reads a drawing as XML and returns the texts in it.
func wellFormed(t *testing.T, name, drawing string) []string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(drawing))
	var texts []string
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return texts
		}
		if err != nil {
			t.Fatalf("%s: %v in %s", name, err, drawing)
		}
		if s, ok := token.(xml.CharData); ok {
			texts = append(texts, string(s))
		}
	}
}

// Every fastener of the demo library that is judged has a drawing whose zones follow
// each other without gaps, and the zone its torque lies in is the verdict.
func TestWindowAgreesWithTheVerdict(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	drawn := 0
	for e := range lib.All(specdata.KindFastener) {
		f := e.Record.(*specdata.Fastener)
		w := windowOf(f)
		if w == nil {
			continue
		}
		in, _ := joint.FromFastener(f)
		v := joint.Judge(in)
		if w.Drawing == "" {
			if len(w.Not) == 0 {
				t.Errorf("%s has neither a drawing nor a reason", f.ID)
			}
			continue
		}
		drawn++
		wellFormed(t, f.ID, string(w.Drawing))
		at := 0.0
		for _, z := range zonesOf(&v.Window) {
			if z.from != at || z.to <= z.from {
				t.Errorf("%s: zone %s is %g to %g after %g", f.ID, z.name, z.from, z.to, at)
			}
			at = z.to
			torque := v.Input.Torque
			if v.Class == joint.Slack || v.Class == joint.Low {
				torque = v.Input.Final
			}
			want := map[joint.Class]string{joint.Slack: "slack", joint.Low: "low", joint.High: "high", joint.MayYield: "may yield", joint.OverYield: "yields", joint.Breaks: "breaks"}[v.Class]
			if torque > z.from && torque <= z.to && want != "" && z.name != want {
				t.Errorf("%s: %g N·m is drawn as %s, judged %s", f.ID, torque, z.name, v.Class)
			}
		}
	}
	if drawn < 150 {
		t.Errorf("%d windows are drawn of the demo library", drawn)
	}
}

// Whatever must be away first is above what waits for it.
func TestOrderStandsBelowWhatMustBeAwayFirst(t *testing.T) {
	a := &specdata.Assembly{
		Parts: []specdata.Part{{ID: "hub", Title: "Hub <b>", Behind: []string{"disc", "lead"}}, {ID: "disc", Title: "Disc", Behind: []string{"wheel"}}, {ID: "wheel", Title: "Wheel"}, {ID: "ring", Title: "Ring", Behind: []string{"ring"}}},
		Clips: []specdata.Clip{{ID: "lead", Title: "Lead", Behind: []string{"wheel", "nothing"}}},
	}
	order := wellFormed(t, "order", string(orderOf(a)))
	at := func(title string) int {
		for i, o := range order {
			if o == title {
				return i
			}
		}
		t.Fatalf("%s is not drawn in %q", title, order)
		return 0
	}
	for _, pair := range [][2]string{{"Wheel", "Disc"}, {"Wheel", "Lead"}, {"Disc", "Hub <b>"}, {"Lead", "Hub <b>"}} {
		if at(pair[0]) > at(pair[1]) {
			t.Errorf("%s is drawn under %s", pair[0], pair[1])
		}
	}
	at("Ring")
	if orderOf(&specdata.Assembly{}) == "" {
		t.Error("an empty assembly has no drawing")
	}
}
