package lexicon_test

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"proofload/specdata/lexicon"
)

// What shops say on either side of the Atlantic is one concept (common practice, no source).
func TestBritishAndAmerican(t *testing.T) {
	l := lexicon.Default()
	for _, c := range [][]string{
		{"wheel-nut", "wheel nut", "Wheel nuts", "lug nut", "lug-nuts"},
		{"track-rod-end", "track rod end", "tie rod end", "tie-rod ends"},
		{"track-rod", "track rod", "tie rod"},
		{"damper", "damper", "shock absorbers", "shock"},
		{"lower-arm", "lower wishbone", "lower control arm"},
		{"control-arm", "wishbone", "control arm"},
		{"anti-roll-bar", "anti-roll bar", "sway bar", "stabilizer bar"},
		{"brake-disc", "brake disc", "rotor", "brake disks"},
		{"caliper", "caliper", "calliper", "brake calipers"},
		{"carrier-bolt", "caliper bracket bolt", "caliper carrier bolts"},
		{"sump-plug", "sump plug", "oil drain plug"},
		{"subframe", "subframe", "crossmember"},
		{"wheel-speed-sensor", "wheel-speed sensor", "ABS sensor"},
		{"drop-link", "drop link", "sway bar link"},
		{"bleed-screw", "bleed screw", "bleed nipple", "bleeder"},
		{"gearbox", "gearbox", "transmission"},
		{"silencer", "silencer", "muffler"},
		{"coolant-pump", "coolant pump", "water pump"},
		{"locknut", "locknut", "jam nut"},
		{"N.m", "N·m", "N.m", "Nm", "newton metres", "newton-meters", "new ton meters"},
		{"lbf.ft", "lbf·ft", "ft-lb", "lb ft", "foot-pounds", "foot pounds"},
	} {
		for _, word := range c[1:] {
			ts := l.Tokens(word)
			found := slices.ContainsFunc(l.Longest(ts), func(m lexicon.Match) bool {
				return m.Concept.ID == c[0] && m.From == 0 && m.To == len(ts)
			})
			if !found {
				t.Errorf("%q is not read as %s", word, c[0])
			}
		}
	}
}

// A look-alike is not the thing it contains.
func TestLookAlikes(t *testing.T) {
	l := lexicon.Default()
	for phrase, id := range map[string]string{
		"the steering wheel": "wheel", "the crown wheel": "wheel", "the crossmember": "cross", "back off the nut": "rear",
		"left-hand thread": "left", "the bolt head": "cylinder-head", "a little bit": "bit", "right now": "right",
		"brake warning lamp": "stop-lamp", "stop lamp": "brake-warning-lamp", "master cylinder": "wheel-cylinder",
	} {
		for _, m := range l.Matches(l.Tokens(phrase)) {
			if m.Concept.ID == id {
				t.Errorf("%q is read as %s", phrase, id)
			}
		}
	}
}

// A title is found by every way of saying it that the lexicon has.
func TestEveryWordFindsItsConcept(t *testing.T) {
	l := lexicon.Default()
	for _, c := range l.Concepts() {
		if c.Kind != lexicon.Thing {
			continue
		}
		searched := map[string]bool{}
		for _, w := range l.Searched(c.Words[0].Text) {
			searched[w] = true
		}
		for _, said := range c.Words {
			if len(l.Longest(l.Tokens(said.Text))) > 1 { // a word for two things
				continue
			}
			for _, q := range l.Query(said.Text) {
				if !searched[q.Word] {
					t.Errorf("%s: asked for as %q, the word %s is not among those of %q", c.ID, said.Text, q.Word, c.Words[0].Text)
				}
			}
		}
	}
}

func TestQueryKeepsDesignations(t *testing.T) {
	for text, want := range map[string]string{"M12x1.5 nut": "m12x1.5 qnut", "7/16-20 UNF": "7/16-20 unf", "M10": "m10", "62Nm": "62nm", "u-bolt": "qubolt"} {
		var got []string
		for _, a := range lexicon.Default().Query(text) {
			got = append(got, a.Word)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q is asked as %q, want %q", text, got, want)
		}
	}
}

func TestQuery(t *testing.T) {
	l := lexicon.Default()
	for _, c := range []struct{ text, title string }{
		{"lug nut", "Front wheel nut"}, {"hub nut", "Stub-axle collar nut"}, {"tie rod end nut", "Track rod end nut"},
		{"19 mm", "hex 19 mm"}, {"110 Nm", "110 N·m"}, {"81 ft-lb", "81 lbf·ft"}, {"8.5Nm", "8.5 N·m"}, {"torque of the sump plugs", "Sump plug"},
		{"drain plug", "Sump plug"}, {"rotor", "Rear disc locating screw"}, {"calliper", "Front caliper carrier bolt"},
		{"Stub-axle collar nut", "Stub-axle collar nut"}, {"U-bolt nut", "Rear spring U-bolt nut"},
	} {
		searched := l.Searched(c.title)
		for _, q := range l.Query(c.text) {
			if !slices.Contains(searched, q.Word) {
				t.Errorf("%q does not find %q: %s is not among %s", c.text, c.title, q.Word, strings.Join(searched, " "))
			}
		}
	}
}

func TestWith(t *testing.T) {
	l, err := lexicon.Default().With("wheel-nut = wheel fixing thingy\nflux-cap < wheel-trim = flux cap")
	if err != nil {
		t.Fatal(err)
	}
	if got := l.Longest(l.Tokens("the wheel fixing thingy")); len(got) != 1 || got[0].Concept.ID != "wheel-nut" {
		t.Errorf("own word reads as %v", got)
	}
	if !l.Is("flux-cap", "wheel-trim") {
		t.Error("own concept is not of its kind")
	}
	for _, c := range []struct{ own, want string }{
		{"no equals", "line 1: \"no equals\" has no"},
		{"# fine\nx = a,,b", "line 2: concept \"x\" has an empty word"},
		{"x < nothing = a", "concept \"x\" is a kind of \"nothing\", which does not exist"},
		{"[colours]\nx = a", "line 1: section \"colours\" does not exist"},
	} {
		if _, err := lexicon.Default().With(c.own); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: error is %v, want %q in it", c.own, err, c.want)
		}
	}
}

func FuzzTokens(f *testing.F) {
	for _, s := range []string{"62Nm", "½ in", "{torque:a}", "N.m", "driver’s side", "\xff1", "٣ mm", "1,5.2"} {
		f.Add(s)
	}
	l := lexicon.Default()
	f.Fuzz(func(t *testing.T, text string) {
		end := 0
		ts := l.Tokens(text)
		for _, tok := range ts {
			if tok.Start < end || tok.End <= tok.Start || tok.End > len(text) || text[tok.Start:tok.End] != tok.Text {
				t.Fatalf("token %+v of %q", tok, text)
			}
			end = tok.End
		}
		l.Longest(ts)
		l.Query(text)
		if utf8.ValidString(text) {
			for _, w := range l.Searched(text) {
				if w == "" {
					t.Errorf("empty word in %q", text)
				}
			}
		}
	})
}
