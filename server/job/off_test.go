package job

import (
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/server/ask"
)

// piece returns the first joint in the job that a fastener is brought to, and its step.
func (s *State) piece(t *testing.T, fastener string) (int, *Joint) {
	t.Helper()
	for _, st := range s.Steps {
		if j := st.joint(fastener); j != nil {
			return st.Number, j
		}
	}
	t.Fatalf("no step tightens %s", fastener)
	return 0, nil
}

func ids(s *State) string {
	var out []string
	for _, o := range s.Open {
		out = append(out, o.ID)
	}
	return strings.Join(out, " ")
}

func has(s *State, prefix string) bool {
	return slices.ContainsFunc(s.Open, func(o Thing) bool { return strings.HasPrefix(o.ID, prefix) })
}

// A torque above its band has been in the piece: a later right value does not take it
// away, and a piece that is used once, or may have yielded, is closed by a new one alone.
func TestOverTorque(t *testing.T) {
	const bolt, wheel = "fasteners/quill-1-rear-carrier-bolt", "fasteners/quill-1-wheel-nut"
	reached := func(f string, v string) Record { return Record{Kind: Reached, Fastener: f, Piece: 1, Value: v} }
	with := func(r Record, text, piece string) Record { r.Text, r.NewPiece = text, piece; return r }
	answer := func(text, piece string) Record { return Record{Kind: Answered, Text: text, NewPiece: piece} }
	for _, c := range []struct {
		name     string
		fastener string
		records  []Record
		value    bool   // an off value is open
		renewed  bool   // a new piece without a value is open
		refused  string // why the last record is refused
	}{
		{"over and right again", bolt, []Record{reached(bolt, "95 N.m"), reached(bolt, "62 N.m")}, true, false, ""},
		{"over and clicked", bolt, []Record{reached(bolt, "95 N.m"), {Kind: Reached, Fastener: bolt, Piece: 1, Clicked: true}}, true, false, ""},
		{"over and undone", bolt, []Record{reached(bolt, "95 N.m"), {Kind: Skipped, Text: "later"}, {Kind: Undone}}, true, false, ""},
		{"over, right with a reason, used once", bolt, []Record{reached(bolt, "95 N.m"), with(reached(bolt, "62 N.m"), "loosened and done again", "")}, true, false, ""},
		{"over, a reason, used once", bolt, []Record{reached(bolt, "95 N.m"), answer("it looks fine", "")}, true, false, "new piece"},
		{"just over, used once", bolt, []Record{reached(bolt, "69 N.m"), answer("it looks fine", "")}, true, false, "used once"},
		{"over, a new piece without a value", bolt, []Record{reached(bolt, "95 N.m"), answer("", "M10 x 30 from the counter")}, false, true, ""},
		{"over, right, then a new piece", bolt, []Record{reached(bolt, "95 N.m"), reached(bolt, "62 N.m"), answer("", "M10 x 30")}, false, true, ""},
		{"over, a new piece, its value", bolt, []Record{reached(bolt, "95 N.m"), answer("", "M10 x 30"), reached(bolt, "62 N.m")}, false, false, ""},
		{"over, a value of a new piece", bolt, []Record{reached(bolt, "95 N.m"), with(reached(bolt, "62 N.m"), "", "M10 x 30")}, false, false, ""},
		{"over, the new piece over as well", bolt, []Record{reached(bolt, "95 N.m"), with(reached(bolt, "99 N.m"), "", "M10 x 30")}, true, false, ""},
		{"over twice, one new piece", bolt, []Record{reached(bolt, "95 N.m"), reached(bolt, "80 N.m"), with(reached(bolt, "62 N.m"), "", "M10 x 30")}, false, false, ""},
		{"under and right", bolt, []Record{reached(bolt, "40 N.m"), reached(bolt, "62 N.m")}, false, false, ""},
		{"under and over", bolt, []Record{reached(bolt, "40 N.m"), reached(bolt, "90 N.m"), reached(bolt, "62 N.m")}, true, false, ""},
		{"right", bolt, []Record{reached(bolt, "62 N.m")}, false, false, ""},
		{"a bit over, used again, right", wheel, []Record{reached(wheel, "150 N.m"), reached(wheel, "110 N.m")}, true, false, ""},
		{"a bit over, used again, a reason", wheel, []Record{reached(wheel, "150 N.m"), answer("loosened, done again, thread runs free", "")}, false, false, ""},
		{"a bit over, used again, right with a reason", wheel, []Record{reached(wheel, "150 N.m"), with(reached(wheel, "110 N.m"), "loosened and done again", "")}, false, false, ""},
		{"above yield, used again, a reason", wheel, []Record{reached(wheel, "400 N.m"), answer("loosened and done again", "")}, true, false, "a reason alone does not close it"},
		{"above yield, a new piece", wheel, []Record{reached(wheel, "400 N.m"), with(reached(wheel, "110 N.m"), "", "wheel stud and nut")}, false, false, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := workshop(t)
			s := b.open(t)
			n, joint := s.piece(t, c.fastener)
			thing, why := "", ""
			for _, r := range c.records {
				if r.Kind == Answered {
					r.Thing = thing
				} else {
					r.Step = n
				}
				state, a := b.try(t, s.ID, "Piet Oram", r)
				s, why = state, ""
				if a.Refused != nil {
					why = a.Refused.Message
				}
				for _, o := range s.Open {
					if strings.HasPrefix(o.ID, "value/") {
						thing = o.ID
					}
				}
			}
			if has(s, "value/") != c.value || has(s, "new/") != c.renewed || (c.refused == "") != (why == "") || !strings.Contains(why, c.refused) {
				t.Errorf("open is %s, refused %q (accepted %s)", ids(s), why, joint.Accept)
			}
			first := c.records[0].Value
			if !c.value && joint.outside(&Event{Value: first}) && (len(s.Answered()) == 0 || !strings.Contains(s.Answered()[0].Text, first)) {
				t.Errorf("%s is not on the job any more", first)
			}
			_, joint = s.piece(t, c.fastener)
			if c.records[len(c.records)-1].Kind == Reached && len(c.records) > 1 && (len(joint.Pieces[0].Was) == 0 || joint.Pieces[0].Was[0].Value != first) {
				t.Errorf("the piece does not say that it was %s", first)
			}
			// The tag and the closing see the same, and the proof is whole.
			if tag := s.Tag(); c.value && !tag.Unfit {
				t.Errorf("tag says %q", tag.Verdict)
			}
			b.refused(t, s.ID, Record{Kind: Closed}, map[bool]string{true: "over-torqued", false: ""}[c.value])
			x, err := b.Export(t.Context(), s.ID)
			if err != nil || x.Verify() != nil {
				t.Errorf("export: %v, %v", err, x.Verify())
			}
		})
	}
}

// What a new piece is called may be erased; that one was fitted stays.
func TestErasedNewPiece(t *testing.T) {
	b := workshop(t)
	s := b.open(t)
	const bolt = "fasteners/quill-1-rear-carrier-bolt"
	n, _ := s.piece(t, bolt)
	b.do(t, s.ID, "Piet Oram", Record{Kind: Reached, Step: n, Fastener: bolt, Piece: 1, Value: "95 N.m"})
	b.do(t, s.ID, "Piet Oram", Record{Kind: Reached, Step: n, Fastener: bolt, Piece: 1, Value: "62 N.m", NewPiece: "from the drawer of Piet"})
	s, err := b.Erase(t.Context(), s.ID, "Runa Estby", "text")
	if err != nil {
		t.Fatal(err)
	}
	if has(s, "value/") || len(s.Answered()) != 1 || s.Answered()[0].End.Fitted != Gone {
		t.Errorf("open %s, answered %+v", ids(s), s.Answered())
	}
	if x, err := b.Export(t.Context(), s.ID); err != nil || x.Verify() != nil || strings.Contains(strings.Join(x.Leaves, ""), "drawer") {
		t.Errorf("export %v %v", err, x)
	}
}

// A measurement outside its limit stays open until it is answered, whatever is measured
// after it.
func TestOutOfLimit(t *testing.T) {
	b := workshop(t)
	s := b.open(t)
	n := s.named("hub-check")
	m := func(v, text, piece string) *State {
		return b.do(t, s.ID, "Piet Oram", Record{Kind: Measured, Step: n, Piece: 1, Value: v, Text: text, NewPiece: piece})
	}
	m("0.20 mm", "", "")
	s = m("0.01 mm", "", "")
	if !has(s, "limit/") || s.step(n).Limits[0].Was[0].Value != "0.20 mm" {
		t.Errorf("open %s, was %v", ids(s), s.step(n).Limits[0].Was)
	}
	if s = m("0.01 mm", "the needle had slipped", ""); has(s, "limit/") || len(s.Answered()) != 1 {
		t.Errorf("a reason leaves %s open", ids(s))
	}
	if s = m("0.30 mm", "worn", ""); !has(s, "limit/") {
		t.Error("a reason with a value outside the limit closes it")
	}
	i := slices.IndexFunc(s.Open, func(o Thing) bool { return strings.HasPrefix(o.ID, "limit/") })
	if s = b.do(t, s.ID, "Piet Oram", Record{Kind: Answered, Thing: s.Open[i].ID, NewPiece: "hub bearing"}); has(s, "limit/") || !has(s, "new/") {
		t.Errorf("a new part that is not measured leaves %s", ids(s))
	}
	if s = m("0.01 mm", "", ""); has(s, "new/") {
		t.Errorf("a new part within its limit leaves %s", ids(s))
	}
}

// The id of a job says when it was opened, and the same request opens one job on
// whatever day it comes again.
func TestIDSaysWhen(t *testing.T) {
	b := workshop(t)
	b.now = time.Date(2026, 12, 1, 14, 7, 9, 0, time.UTC)
	s := b.open(t)
	if !strings.HasPrefix(s.ID, "20261201-140709-") {
		t.Errorf("a job opened at %s is %s", b.now, s.ID)
	}
	b.now = b.now.Add(26 * time.Hour)
	if again := b.open(t); again.ID != s.ID {
		t.Errorf("the same request opened %s beside %s", again.ID, s.ID)
	}
}

// left and right are read as people write them.
func TestSideInAnyCase(t *testing.T) {
	b := workshop(t)
	for _, side := range []string{"LEFT", "Left", " left"} {
		s, err := b.Open(t.Context(), Opening{Moment: ask.Newest(), Procedure: "procedures/quill-1-rear-hub-bearing", Vehicle: "quill-1", Options: []string{"rear_brake=disc"}, Built: "2018-W10", Side: side, By: "Maud Ibbot"})
		if err != nil || s.Start.Side != "left" {
			t.Errorf("%q: %v", side, err)
		}
	}
}
