package specdata_test

import (
	"strings"
	"testing"

	"proofload/specdata"
)

func TestKindsAndCollections(t *testing.T) {
	for _, k := range specdata.Kinds {
		r := specdata.New(k)
		if r == nil {
			t.Fatalf("kind %s has no record", k)
		}
		if got, ok := specdata.KindOf(k.Collection()); !ok || got != k {
			t.Errorf("collection %q holds %q", k.Collection(), got)
		}
		h := r.Header()
		h.Kind, h.ID = k, "a-1"
		name, err := specdata.ParseName(string(r.Name()))
		if err != nil || name != r.Name() || name.Kind() != k || name.ID() != "a-1" {
			t.Errorf("%s: name %q, kind %q, id %q, %v", k, name, name.Kind(), name.ID(), err)
		}
	}
	for _, k := range []specdata.Kind{"", "nut", "vehicles", "Vehicle"} {
		if specdata.New(k) != nil || k.Collection() != "" {
			t.Errorf("kind %q exists", k)
		}
	}
	if _, ok := specdata.KindOf(""); ok {
		t.Error("the empty collection holds something")
	}
}

func TestParseName(t *testing.T) {
	for s, want := range map[string]string{
		"fasteners/quill-1-rear-hub-nut": "", "sources/a": "", "vehicles/0": "",
		"": "has no collection", "fasteners": "has no collection", "nuts/a": "names no collection", "fastener/a": "names no collection", "/a": "names no collection",
		"fasteners/": "has an id that is not", "fasteners/A": "has an id", "fasteners/a_b": "has an id", "fasteners/../a": "has an id", "fasteners/a/b": "has an id",
		"fasteners/-a": "has an id", "fasteners/a-": "has an id", "fasteners/a--b": "has an id", "fasteners/a%2fb": "has an id", "fasteners/\u0430": "has an id", "fasteners/a\n": "has an id",
		"fasteners/" + strings.Repeat("a", specdata.MaxID): "", "fasteners/" + strings.Repeat("a", specdata.MaxID+1): "at most 80 characters",
		strings.Repeat("é", 100_000): "has no collection",
	} {
		name, err := specdata.ParseName(s)
		if (err == nil) != (want == "") || err != nil && (!strings.Contains(err.Error(), want) || len(err.Error()) > 300 || name != "") || err == nil && string(name) != s {
			t.Errorf("%.40q: %q, %v; want %q", s, name, err, want)
		}
	}
}

func TestNameOfNothing(t *testing.T) {
	for _, n := range []specdata.Name{"", "a", "nuts/a", "/"} {
		if n.Kind() != "" {
			t.Errorf("%q has kind %q", n, n.Kind())
		}
	}
	if got := specdata.Name("a").ID(); got != "" {
		t.Errorf("a name without a collection has the id %q", got)
	}
}

func FuzzParseName(f *testing.F) {
	for _, s := range []string{"fasteners/a", "fasteners/../a", "vehicles/A", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		name, err := specdata.ParseName(s)
		if err == nil && (specdata.NewName(name.Kind(), name.ID()) != name || strings.ContainsAny(s, ".%\\ \n")) {
			t.Fatalf("%q was taken as %q", s, name)
		}
	})
}
