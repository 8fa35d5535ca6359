package lint

import (
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Prepared for a run over many records or not, duplicates are the same.
func TestDuplicates(t *testing.T) {
	var entries []*library.Entry
	for id, title := range map[string]string{"a": "Chassis book, 2018", "b": "chassis books 2018", "c": "Chassis book, 2019", "d": "Engine book", "e": "CHASSIS-BOOK 2018"} {
		entries = append(entries, &library.Entry{Record: &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: id, Title: title}}})
		entries = append(entries, &library.Entry{Record: &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: id, Title: "Same"}, Model: title}})
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]string{"a": {"b", "e"}, "b": {"a", "e"}, "e": {"a", "b"}}
	for _, prepared := range []*duplicates{nil, newDuplicates(lib)} {
		for _, e := range entries {
			var got []string
			p := &Pass{Entry: e, Library: lib, duplicates: prepared}
			for _, o := range p.Duplicates() {
				if o.Name().Kind() != e.Name().Kind() {
					t.Errorf("%s has the duplicate %s", e.Name(), o.Name())
				}
				got = append(got, o.Name().ID())
			}
			if !slices.Equal(got, want[e.Name().ID()]) {
				t.Errorf("%s, prepared %v: duplicates are %q, want %q", e.Name(), prepared != nil, got, want[e.Name().ID()])
			}
		}
	}
}
