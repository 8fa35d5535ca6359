package claim_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/demo"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

func world(t testing.TB, procedure string) *claim.World {
	t.Helper()
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	return claim.New(library.Procedure(l, procedure), l, lexicon.Default(), "")
}

var (
	units = strings.Fields("x one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens  = strings.Fields("x x twenty thirty forty fifty sixty seventy eighty ninety")
)

func below100(n int) string {
	switch {
	case n < 20:
		return units[n]
	case n%10 == 0:
		return tens[n/10]
	}
	return tens[n/10] + "-" + units[n%10]
}

// spoken lists the ways in which people and speech recognisers write a number.
func spoken(n int) []string {
	out := []string{fmt.Sprint(n)}
	if n < 100 {
		s := below100(n)
		out = append(out, s, strings.ReplaceAll(s, "-", " "))
		if n >= 20 {
			out = append(out, digitwise(n))
		}
		return out
	}
	h, rest := units[n/100], n%100
	if rest == 0 {
		out = append(out, h+" hundred")
		if n == 100 {
			out = append(out, "a hundred")
		}
		return out
	}
	r := below100(rest)
	out = append(out, h+" hundred and "+r, h+" hundred "+r, strings.ReplaceAll(h+" hundred and "+r, "-", " "), digitwise(n), strings.ReplaceAll(digitwise(n), "zero", "oh"))
	if n/100 == 1 {
		out = append(out, "a hundred and "+r, "a hundred "+r)
	}
	if rest >= 10 {
		out = append(out, h+" "+r, h+"-"+r, strings.ReplaceAll(h+" "+r, "-", " "))
	} else {
		out = append(out, h+" oh "+r, h+"-oh-"+r)
	}
	return out
}

func digitwise(n int) string {
	var w []string
	for _, d := range fmt.Sprint(n) {
		if d == '0' {
			w = append(w, "zero")
		} else {
			w = append(w, units[d-'0'])
		}
	}
	return strings.Join(w, " ")
}

// Every number from 1 to 999 reads back from every spoken form, with every unit as
// people say and recognisers write it.
func TestNumbers(t *testing.T) {
	w := world(t, "quill-1-rear-hub-bearing")
	said := []struct{ word, unit string }{{"newton metres", "N.m"}, {"Nm", "N.m"}, {"new ton meters", "N.m"}, {"foot-pounds", "lbf.ft"}, {"foot pounds", "lbf.ft"}, {"degrees", "deg"}, {"lb ft", "lbf.ft"}}
	forms := 0
	for n := 1; n <= 999; n++ {
		for i, form := range spoken(n) {
			forms++
			u := said[(n+i)%len(said)]
			text := "Tighten it, that is " + form + " " + u.word + "."
			found := false
			for _, c := range w.Read(text).Clauses {
				for _, q := range c.Claims {
					found = found || q.Kind == claim.OfQuantity && q.Unit == u.unit && slices.Equal(q.Number.Readings, []float64{float64(n)})
				}
			}
			if !found {
				t.Errorf("%q does not read as %d %s", text, n, u.unit)
			}
		}
	}
	t.Logf("%d forms of 999 numbers", forms)
}

// What a recogniser mishears keeps both readings; halves, points and turns are numbers.
func TestReadings(t *testing.T) {
	w := world(t, "quill-1-rear-hub-bearing")
	for _, c := range []struct {
		text, unit string
		want       []float64
	}{
		{"torque it to forty newton metres", "N.m", []float64{40, 240}},
		{"that is sixty to newton metres", "N.m", []float64{60, 62}},
		{"four point five newton metres", "N.m", []float64{4.5}},
		{"under point oh five of a millimetre", "mm", []float64{0.05}},
		{"twenty-nine point nine eight millimetres", "mm", []float64{29.98}},
		{"half a turn", "turn", []float64{0.5}}, {"a quarter of a turn", "turn", []float64{0.25}}, {"a quarter turn", "turn", []float64{0.25}}, {"two full turns", "turn", []float64{2}},
		{"4.5 N·m", "N.m", []float64{4.5}}, {"240 N.m", "N.m", []float64{240}}, {"1,100 Nm", "N.m", []float64{1100}}, {"2 40 newton metres", "N.m", []float64{240}},
		{"twelve and a half millimetres", "mm", []float64{12.5}},
	} {
		found := false
		for _, cl := range w.Read(c.text).Clauses {
			for _, q := range cl.Claims {
				found = found || q.Unit == c.unit && len(q.Number.Readings) == len(c.want) && same(q.Number.Readings, c.want)
			}
		}
		if !found {
			t.Errorf("%q does not read as %v %s", c.text, c.want, c.unit)
		}
	}
}

func same(a, b []float64) bool {
	for i := range a {
		if d := a[i] - b[i]; d > 1e-9 || d < -1e-9 {
			return false
		}
	}
	return true
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"Tighten the collar nut to two hundred and forty newton metres", "do not, 1/0 point oh", "half of a", "the nuts of the", "stage one of", "\xff 12 {x", "hundred hundred thousand"} {
		f.Add(s)
	}
	l, err := demo.Library()
	if err != nil {
		f.Fatal(err)
	}
	w := claim.New(library.Procedure(l, "quill-1-rear-hub-bearing"), l, lexicon.Default(), specdata.SideLeft)
	f.Fuzz(func(t *testing.T, text string) {
		x := w.Read(text)
		end := 0
		for _, c := range x.Clauses {
			if c.From != end || c.To <= c.From || c.To > len(x.Tokens) {
				t.Fatalf("clause %d to %d of %d tokens of %q", c.From, c.To, len(x.Tokens), text)
			}
			end = c.To
			for _, q := range c.Claims {
				if q.From < 0 || q.To > len(x.Tokens) || q.To <= q.From {
					t.Fatalf("claim %+v of %q", q, text)
				}
			}
		}
		if end != len(x.Tokens) {
			t.Fatalf("clauses of %q end at token %d of %d", text, end, len(x.Tokens))
		}
		for _, k := range w.Judge(x, claim.Scope{Acts: w.Acts}) {
			x.Said(k.From, k.To)
		}
	})
}
