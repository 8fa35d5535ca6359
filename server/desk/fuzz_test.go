package desk_test

import (
	"errors"
	"testing"

	"proofload/server/desk"
	"proofload/specdata/document"
)

// FuzzPatches: whatever is sent as a patch gives a document within the limits or an
// ErrPatch, and a merge patch that was applied changes nothing when applied again
// (RFC 7396, section 2: each member is set or removed).
func FuzzPatches(f *testing.F) {
	doc := []byte(`{"count":4,"kind":"fastener","tightening":{"stages":[{"torque":"110 N.m"}]}}`)
	for _, s := range []string{`{"count":null}`, `{"tightening":{"stages":[]}}`, `[{"op":"copy","from":"/tightening","path":"/tightening/x"}]`,
		`[{"op":"test","path":"/count","value":4},{"op":"move","from":"/count","path":"/n"}]`, `{"a":{"b":{"c":null}}}`, `[{"op":"add","path":"/tightening/stages/-","value":1e30}]`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, patch []byte) {
		if out, err := desk.JSONPatch(doc, patch); err != nil && !errors.Is(err, desk.ErrPatch) || len(out) > document.MaxBytes {
			t.Fatalf("JSON patch gave %d bytes, %v", len(out), err)
		}
		once, err := desk.MergePatch(doc, patch)
		if err != nil {
			if !errors.Is(err, desk.ErrPatch) {
				t.Fatal(err)
			}
			return
		}
		twice, err := desk.MergePatch(once, patch)
		if err != nil {
			t.Fatalf("applied once, refused again: %v", err)
		}
		a, errA := document.Canonicalize(once)
		b, errB := document.Canonicalize(twice)
		if errA == nil && (errB != nil || string(a) != string(b)) {
			t.Fatalf("once %s, twice %s", once, twice)
		}
	})
}
