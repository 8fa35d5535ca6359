package library_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

func entry(t *testing.T, file, text string) *library.Entry {
	t.Helper()
	d, findings := document.Read(file, []byte(text))
	if d == nil {
		t.Fatal(findings)
	}
	return library.NewEntry(d)
}

func source(id, more string) string {
	return strings.Replace(soundSource, "id: a\n", "id: "+id+"\n", 1) + more
}

func TestMemory(t *testing.T) {
	a := entry(t, "sources/a.yaml", source("a", "concerns: [v, w]\n"))
	b := entry(t, "sources/b.yaml", source("b", "supersedes: [a]\nconcerns: [v]\n"))
	v := entry(t, "vehicles/v.json", soundVehicle)
	m, err := library.NewMemory(b, v, a)
	if err != nil {
		t.Fatal(err)
	}
	if m.Len() != 3 || m.Get("sources/a") != a || m.Get("sources/c") != nil || m.Get("") != nil || m.Err() != nil {
		t.Error("Get does not give what is there")
	}
	if got := slices.Collect(m.All(specdata.KindSource)); !slices.Equal(got, []*library.Entry{a, b}) {
		t.Errorf("sources are %v, want them in order of id", got)
	}
	if got := m.Uses("vehicles/v"); !slices.Equal(got, []specdata.Name{"sources/a", "sources/b"}) {
		t.Errorf("v is used by %v", got)
	}
	if got := m.Uses("sources/a"); !slices.Equal(got, []specdata.Name{"sources/b"}) {
		t.Errorf("a is used by %v", got)
	}
	if library.Source(m, "a") != a.Record || library.Vehicle(m, "v") != v.Record || library.Vehicle(m, "a") != nil || library.Fastener(m, "a") != nil {
		t.Error("records are not found by kind")
	}
}

func TestMemoryRefusesTwoOfOneName(t *testing.T) {
	a, again := entry(t, "x/sources/a.yaml", soundSource), entry(t, "y/sources/a.yaml", soundSource)
	_, err := library.NewMemory(a, again)
	if err == nil || !strings.Contains(err.Error(), "sources/a stands twice: x/sources/a.yaml and y/sources/a.yaml") {
		t.Errorf("error is %v", err)
	}
	stored, err := document.ReadCanonical(a.Canonical)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := library.NewMemory(a, library.NewEntry(stored)); err == nil || !strings.Contains(err.Error(), "and a document without a file") {
		t.Errorf("error is %v", err)
	}
}

func TestPositionOfNothing(t *testing.T) {
	var none *library.Entry
	if none.Position("/id") != (specdata.Position{}) {
		t.Error("no entry has a place")
	}
}
