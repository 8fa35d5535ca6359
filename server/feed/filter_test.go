package feed

import (
	"fmt"
	"strings"
	"testing"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

func TestParseFilter(t *testing.T) {
	for _, c := range []struct {
		kinds, names    []string
		vehicle, source string
		field           string
	}{
		{nil, nil, "", "", ""},
		{[]string{"fastener", "source"}, []string{"fasteners/a", "vehicles/b"}, "quill-1", "quill-chassis-2018", ""},
		{[]string{"fasteners"}, nil, "", "", "kinds"},
		{nil, []string{"a"}, "", "", "names"},
		{nil, []string{"nuts/a"}, "", "", "names"},
		{nil, make([]string, maxNames+1), "", "", "names"},
		{nil, nil, "vehicles/quill-1", "", "vehicle"},
		{nil, nil, "", "Quill", "source"},
	} {
		f, err := ParseFilter(c.kinds, c.names, c.vehicle, c.source)
		if (err == nil) != (c.field == "") || err != nil && fault.From(err).Metadata["field"] != c.field {
			t.Errorf("%.60q %.60q %q %q: got %v, want a mistake of field %q", c.kinds, c.names, c.vehicle, c.source, err, c.field)
		}
		if err == nil && len(f.Kinds) != len(c.kinds) {
			t.Errorf("%+v", f)
		}
	}
}

// A filter by vehicle or source also wants the revision with which a record ceases
// to match, or somebody who watches a vehicle would keep a value that is gone.
func TestFilterWantsWhatCeases(t *testing.T) {
	s := newStore(t)
	publish(t, s, bolt(t, "a", 0, 40, "quill-chassis", "quill-1"))
	publish(t, s, bolt(t, "a", 1, 40, "quill-chassis", "pell-1"))
	publish(t, s, bolt(t, "a", 2, 40, "pell-chassis", "pell-1"))
	publish(t, s, store.Change{Name: "fasteners/a", Base: 3})
	publish(t, s, bolt(t, "a", 4, 40, "pell-chassis", "pell-1", "quill-1"))
	log, err := s.Log(t.Context(), 0, 5, store.MaxLimit)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		filter Filter
		want   string
	}{
		{Filter{}, "[1 2 3 4 5]"},
		{Filter{Vehicle: "quill-1"}, "[1 2 5]"},
		{Filter{Vehicle: "pell-1"}, "[2 3 4 5]"},
		{Filter{Source: "quill-chassis"}, "[1 2 3]"},
		{Filter{Vehicle: "quill-1", Source: "pell-chassis"}, "[5]"},
		{Filter{Names: []specdata.Name{"fasteners/a"}, Kinds: []specdata.Kind{specdata.KindSource}}, "[]"},
	} {
		got := []int64{}
		for _, r := range log {
			wanted, err := c.filter.Wants(t.Context(), s, r)
			if err != nil {
				t.Fatal(err)
			}
			if wanted {
				got = append(got, r.Position)
			}
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("filter %s keeps %v, want %s", c.filter, got, c.want)
		}
	}
}

// Whatever a request says, a filter is refused as the caller's mistake or is one that
// reads back the same.
func FuzzParseFilter(f *testing.F) {
	f.Add("fastener,source", "fasteners/a", "quill-1", "quill-chassis-2018")
	f.Add("", "a/b/c", "..", "\xff")
	f.Fuzz(func(t *testing.T, kinds, names, vehicle, source string) {
		split := func(s string) []string {
			if s == "" {
				return nil
			}
			return strings.Split(s, ",")
		}
		got, err := ParseFilter(split(kinds), split(names), vehicle, source)
		if err != nil {
			if e := fault.From(err); e.Kind != fault.InvalidArgument || len(e.Violations) != 1 {
				t.Errorf("%v", err)
			}
			return
		}
		parts := strings.Split(got.String(), "|")
		again, err := ParseFilter(split(parts[0]), split(parts[1]), parts[2], parts[3])
		if err != nil || again.String() != got.String() {
			t.Errorf("%s reads back as %s, %v", got, again, err)
		}
	})
}
