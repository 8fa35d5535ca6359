package slip_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/tools/faultbench/slip"
)

func rng(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 7)) }

func demoLibrary(t *testing.T) *library.Memory {
	t.Helper()
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// Every kind finds an occasion in the demo library; its slip says what it did,
// differs from the record, and is the same for the same seed.
func TestEveryKindSlips(t *testing.T) {
	l := demoLibrary(t)
	seen := map[string]bool{}
	for _, k := range append(slip.Kinds(), slip.Harmless()...) {
		if seen[k.Name] {
			t.Errorf("kind %s stands twice", k.Name)
		}
		seen[k.Name] = true
		made := 0
		for e := range l.All(k.Of) {
			for seed := range uint64(3) {
				s, err := k.Make(rng(seed), l, e)
				if errors.Is(err, slip.ErrNoOccasion) {
					continue
				}
				if err != nil {
					t.Fatalf("%s in %s: %v", k.Name, e.Name(), err)
				}
				made++
				if s.What == "" || s.Kind != k.Name || s.Original != e.Name() {
					t.Fatalf("%s in %s: slip is not described: %+v", k.Name, e.Name(), s)
				}
				again, err := k.Make(rng(seed), l, e)
				if err != nil || !bytes.Equal(again.JSON, s.JSON) || again.What != s.What {
					t.Fatalf("%s in %s: the same seed gives %q and %q", k.Name, e.Name(), s.What, again.What)
				}
			}
		}
		if made == 0 {
			t.Errorf("kind %s finds no occasion in the demo library", k.Name)
		}
	}
}

// A slip is made in a copy: the library stays as it was.
func TestTheLibraryIsLeftAlone(t *testing.T) {
	l, clean := demoLibrary(t), demoLibrary(t)
	for _, k := range slip.Kinds() {
		for e := range l.All(k.Of) {
			if _, err := k.Make(rng(5), l, e); err != nil && !errors.Is(err, slip.ErrNoOccasion) {
				t.Fatal(err)
			}
		}
	}
	for _, kind := range specdata.Kinds {
		for e := range l.All(kind) {
			if was := clean.Get(e.Name()); !bytes.Equal(was.Canonical, e.Canonical) || document(t, was) != document(t, e) {
				t.Errorf("%s was changed by making slips", e.Name())
			}
		}
	}
}

// document returns a record as it would be written now.
func document(t *testing.T, e *library.Entry) string {
	t.Helper()
	b, err := json.Marshal(e.Record)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
