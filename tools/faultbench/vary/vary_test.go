package vary_test

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/tools/faultbench/oracle"
	"proofload/tools/faultbench/vary"
)

// A variation has the records of its base, many of them changed, and every
// procedure does the same work. That rules stay silent about it is what the bench
// itself measures.
func TestVariationsDoTheSameWork(t *testing.T) {
	base, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(3) {
		l, err := vary.Library(rand.New(rand.NewPCG(seed, 1)), base)
		if err != nil {
			t.Fatal(err)
		}
		if l.Len() != base.Len() {
			t.Fatalf("%d records became %d", base.Len(), l.Len())
		}
		changed := map[specdata.Kind]int{}
		for _, kind := range specdata.Kinds {
			for e := range base.All(kind) {
				other := l.Get(e.Name())
				if !bytes.Equal(other.Canonical, e.Canonical) {
					changed[kind]++
				}
				p, ok := e.Record.(*specdata.Procedure)
				if ok && !oracle.SameWork(base, p, other.Record.(*specdata.Procedure)) {
					t.Errorf("seed %d: %s does other work", seed, e.Name())
				}
			}
		}
		if changed[specdata.KindProcedure] < 10 {
			t.Errorf("seed %d: only %d procedures differ", seed, changed[specdata.KindProcedure])
		}
	}
}
