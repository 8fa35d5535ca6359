package view_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	pb "proofload/api/proofload/v1"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/library"
)

// Every field of a document is in its view under the same name and with the
// same value: a quantity as what it prints, a map of lists as a list of options.
func TestNoFieldIsForgotten(t *testing.T) {
	for _, k := range specdata.Kinds {
		t.Run(string(k), func(t *testing.T) {
			f := filler{always: true, choose: func(n int) int { return n - 1 }}
			holdsEveryField(t, f.record(k))
		})
	}
}

// The same for any subset of fields and any unit, sensible or not: a view never
// fails on a record and never drops a field.
func TestNoFieldIsForgottenWhateverIsThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(specdata.Kinds).Draw(t, "kind")
		f := filler{choose: func(n int) int { return rapid.IntRange(0, n-1).Draw(t, "choice") }}
		holdsEveryField(t, f.record(k))
	})
}

type failer interface {
	Fatal(args ...any)
	Errorf(format string, args ...any)
}

func holdsEveryField(t failer, r specdata.Record) {
	lib, err := library.NewMemory()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	v, err := view.Build(&library.Entry{Record: r, Hash: "00", Canonical: doc}, nil, lib)
	if err != nil {
		t.Fatal(err)
	}
	stored, err := v.Stored()
	if err != nil {
		t.Fatal(err)
	}
	var want, got any
	if err := json.Unmarshal(doc, &want); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(stored.JSON, &got); err != nil {
		t.Fatal(err)
	}
	for _, problem := range missing("", want, got) {
		t.Errorf("%s", problem)
	}
	back := v.Message.ProtoReflect().New().Interface()
	if err := proto.Unmarshal(v.Proto, back); err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(back, v.Message) {
		t.Errorf("encoded message differs from the message")
	}
}

// missing lists what of a document's value a view's value lacks.
func missing(at string, doc, view any) []string {
	switch d := doc.(type) {
	case string:
		if d == "" || d == view {
			return nil
		}
		if q, ok := view.(map[string]any); ok && q["as_printed"] == d {
			return nil
		}
	case map[string]any:
		if len(d) == 0 {
			return nil
		}
		if isOptions(d) {
			return missing(at, asOptions(d), view)
		}
		v, ok := view.(map[string]any)
		if !ok {
			break
		}
		var out []string
		for _, k := range slices.Sorted(maps.Keys(d)) {
			out = append(out, missing(at+"/"+k, d[k], v[k])...)
		}
		return out
	case []any:
		v, _ := view.([]any)
		if len(d) != len(v) {
			break
		}
		var out []string
		for i := range d {
			out = append(out, missing(fmt.Sprintf("%s/%d", at, i), d[i], v[i])...)
		}
		return out
	case bool:
		if d == (view == true) {
			return nil
		}
	case float64:
		if d == view || d == 0 && view == nil {
			return nil
		}
	case nil:
		return nil
	}
	return []string{fmt.Sprintf("%s: the document has %v, the view has %v", at, doc, view)}
}

func isOptions(m map[string]any) bool {
	for k := range m {
		if !strings.HasPrefix(k, "key_") {
			return false
		}
	}
	return true
}

func asOptions(m map[string]any) []any {
	var out []any
	for _, k := range slices.Sorted(maps.Keys(m)) {
		out = append(out, map[string]any{"key": k, "values": m[k]})
	}
	return out
}

// filler fills records through reflection, so that a field added to a record is
// in the test the day it is added.
type filler struct {
	always bool
	choose func(n int) int
	n      int
}

func (f *filler) record(k specdata.Kind) specdata.Record {
	r := specdata.New(k)
	f.fill(reflect.ValueOf(r).Elem())
	r.Header().Kind = k
	return r
}

var quantityType = reflect.TypeFor[specdata.Quantity]()

func (f *filler) fill(v reflect.Value) {
	if !f.always && f.choose(3) == 0 {
		return
	}
	f.n++
	switch v.Kind() {
	case reflect.String:
		v.SetString(fmt.Sprintf("word-%d", f.n))
	case reflect.Int:
		v.SetInt(int64(f.n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		f.fill(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range 2 {
			f.fill(v.Index(i))
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		for range 2 {
			f.n++
			v.SetMapIndex(reflect.ValueOf(fmt.Sprintf("key_%03d", f.n)), reflect.ValueOf([]string{fmt.Sprintf("value-%d", f.n)}))
		}
	case reflect.Struct:
		if v.Type() == quantityType {
			u := specdata.Units[f.choose(len(specdata.Units))]
			v.Set(reflect.ValueOf(specdata.MustQuantity(fmt.Sprintf("%d %s", f.n, u.Symbol))))
			return
		}
		for i := range v.NumField() {
			f.fill(v.Field(i))
		}
	}
}

func build(t *testing.T, rs ...specdata.Record) *view.View {
	t.Helper()
	var entries []*library.Entry
	for i, r := range rs {
		entries = append(entries, &library.Entry{Record: r, Hash: fmt.Sprint(i)})
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	v, err := view.Build(entries[0], nil, lib)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func q(s string) specdata.Quantity {
	if s == "" {
		return specdata.Quantity{}
	}
	return specdata.MustQuantity(s)
}

// Pairs printed in US Army manuals (the TM numbers stand beside them) come out as
// printed when the metric text is worked out from the imperial value.
func TestTorqueTextAgreesWithPrintedPairs(t *testing.T) {
	for _, c := range []struct{ printed, metric, imperial, source string }{
		{"30 lbf.ft", "41 N·m", "30 lbf·ft", "TB 9-3950-253-13&P"},
		{"90 lbf.ft", "122 N·m", "90 lbf·ft", "TM 10-4320-344-24"},
		{"70 lbf.ft", "95 N·m", "70 lbf·ft", "TM 9-2320-387-24"},
		{"125 lbf.ft", "169 N·m", "125 lbf·ft", "TM 9-2320-280-20-2 prints 170, rounded to the ten"},
		{"250 lbf.ft", "339 N·m", "250 lbf·ft", "TM 10-3930-660-24-2"},
		{"541 N.m", "541 N·m", "399 lbf·ft", "TM 9-2320-362-14&P"},
		{"10 N.m", "10 N·m", "89 lbf·in", "NIST SP 811: 1 lbf·in = 0.112 985 N·m"},
		{"240 N.m", "240 N·m", "177 lbf·ft", "NIST SP 811: 1 lbf·ft = 1.355 818 N·m"},
		{"1.5 kgf.m", "14.5 N·m", "11 lbf·ft", "1 kgf·m = 9.806 65 N·m, exact; N·m in halves from 10 to 20"},
	} {
		got := view.Torque(q(c.printed))
		if got.Metric != c.metric || got.Imperial != c.imperial || got.AsPrinted != c.printed {
			t.Errorf("%s: got %s, %s, %s; %s has %s, %s", c.printed, got.AsPrinted, got.Metric, got.Imperial, c.source, c.metric, c.imperial)
		}
	}
}

func TestBand(t *testing.T) {
	for _, c := range []struct {
		name, torque, upTo, tolerance string
		low, high                     float64
		metric, imperial, text        string
		assumed                       bool
	}{
		{"a share of the torque", "240 N.m", "", "10 %", 216, 264, "216 to 264 N·m", "160 to 194 lbf·ft", "±10 %", false},
		{"a torque", "62 N.m", "", "5 N.m", 57, 67, "57 to 67 N·m", "43 to 49 lbf·ft", "±5 N·m", false},
		{"none printed", "100 N.m", "", "", 90, 110, "90 to 110 N·m", "67 to 81 lbf·ft", "±10 % assumed", true},
		{"a printed range", "35 N.m", "40 N.m", "", 35, 40, "35 to 40 N·m", "26 to 29 lbf·ft", "range as printed", false},
		{"the ends keep the unit of the value", "13 N.m", "", "10 %", 11.7, 14.3, "12 to 14 N·m", "104 to 126 lbf·in", "±10 %", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := &specdata.Fastener{Head: specdata.Head{Kind: specdata.KindFastener, ID: "a"}, Tightening: &specdata.Tightening{
				Stages: []specdata.Stage{{Torque: q(c.torque), UpTo: q(c.upTo)}}, Tolerance: q(c.tolerance),
			}}
			b := build(t, f).Message.(*pb.Fastener).Tightening.Stages[0].Torque.Band
			if near(b.LowNewtonMetres, c.low) && near(b.HighNewtonMetres, c.high) && b.Metric == c.metric && b.Imperial == c.imperial && b.Text == c.text && b.Assumed == c.assumed {
				return
			}
			t.Errorf("got %v", b)
		})
	}
}

func near(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }

func fastener(id string, torques ...string) *specdata.Fastener {
	f := &specdata.Fastener{Head: specdata.Head{Kind: specdata.KindFastener, ID: id, Title: "Nut"}, Tightening: &specdata.Tightening{}}
	for _, t := range torques {
		s := specdata.Stage{Torque: q(t)}
		if u := q(t); u.Dimension() == specdata.Angle {
			s = specdata.Stage{Angle: u}
		}
		f.Tightening.Stages = append(f.Tightening.Stages, s)
	}
	return f
}

func TestProcedureReadsValuesFromRecords(t *testing.T) {
	p := &specdata.Procedure{
		Head: specdata.Head{Kind: specdata.KindProcedure, ID: "p"},
		Steps: []specdata.Step{
			{ID: "1", Text: "Tighten the nut to {torque:a} with the {tool:w}.", Operations: []specdata.Operation{{Do: specdata.Tighten, Target: "fastener:a"}}},
			{ID: "2", Text: "Tighten to {torque:gone}.", Operations: []specdata.Operation{{Do: specdata.Tighten, Target: "fastener:b"}}},
		},
		Tools: []specdata.Tool{{ID: "w", Title: "large torque wrench"}},
	}
	v := build(t, p, fastener("a", "40 N.m", "90 deg"), fastener("b", "12 N.m"))
	m := v.Message.(*pb.Procedure)
	if got, want := m.Steps[0].Reading, "Tighten the nut to 40 N·m (30 lbf·ft) + 90° with the large torque wrench."; got != want {
		t.Errorf("reading is %q, want %q", got, want)
	}
	if got, want := m.Steps[1].Reading, "Tighten to {torque:gone}."; got != want {
		t.Errorf("a fastener that is not there reads %q, want %q: no value may take its place", got, want)
	}
	var lines []string
	for _, l := range m.Torques {
		lines = append(lines, fmt.Sprint(l.Fastener, " ", l.Summary, " ", l.Steps))
	}
	want := []string{"fasteners/a 40 N·m (30 lbf·ft) + 90° [1]", "fasteners/b 12 N·m (106 lbf·in) [2]", "fasteners/gone  [2]"}
	if !slices.Equal(lines, want) {
		t.Errorf("torques are %q, want %q", lines, want)
	}
	if !slices.Contains(v.Uses, "fasteners/gone") {
		t.Errorf("view depends on %v; the absent fastener must be among them, for the view changes when it appears", v.Uses)
	}
}

func TestETag(t *testing.T) {
	f := fastener("a", "40 N.m")
	f.Source = &specdata.Citation{Document: "s"}
	s := &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: "s"}, Licence: "invented demo data, free to use"}
	entry := &library.Entry{Record: f, Hash: "f1"}
	tag := func(source *library.Entry) string {
		t.Helper()
		lib, err := library.NewMemory(source)
		if err != nil {
			t.Fatal(err)
		}
		v, err := view.Build(entry, nil, lib)
		if err != nil {
			t.Fatal(err)
		}
		if !v.Message.(*pb.Fastener).Notice.Demo {
			t.Error("view of a record from an invented source does not say that it is demo data")
		}
		return v.ETag
	}
	first := tag(&library.Entry{Record: s, Hash: "s1"})
	if again := tag(&library.Entry{Record: s, Hash: "s1"}); again != first {
		t.Errorf("the same records give %s and %s", first, again)
	}
	if other := tag(&library.Entry{Record: s, Hash: "s2"}); other == first {
		t.Error("a changed source, which the view shows, does not change the validator")
	}
}

func TestTorqueTools(t *testing.T) {
	for _, c := range []struct {
		name    string
		torques []string
		want    []string
	}{
		{"one torque", []string{"240 N.m"}, []string{"3/4 in square torque wrench for 240 N·m"}},
		{"stages one tool covers", []string{"50 N.m", "110 N.m"}, []string{"1/2 in square torque wrench for 50 to 110 N·m"}},
		{"stages no tool covers", []string{"10 N.m", "200 N.m"}, []string{"1/4 in square torque wrench for 10 N·m", "3/4 in square torque wrench for 200 N·m"}},
		{"as the demo procedure fetches for its wheel nuts", []string{"110 N.m"}, []string{"1/2 in square torque wrench for 110 N·m"}},
		{"beyond the usual set", []string{"1900 N.m"}, []string{"torque wrench for 1900 N·m"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []string
			for _, tool := range build(t, fastener("a", c.torques...)).Message.(*pb.Fastener).Tools.TorqueTools {
				got = append(got, tool.Text)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
