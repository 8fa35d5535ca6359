package dryrun_test

import (
	"fmt"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// stepsOf returns the first n steps of the longest demo job, from its beginning again
// where it is too short.
func stepsOf(b *testing.B, n int) (library.Library, *specdata.Procedure) {
	b.Helper()
	lib, err := demo.Library()
	if err != nil {
		b.Fatal(err)
	}
	p := *library.Procedure(lib, "pell-1-cylinder-head-refit")
	all := p.Steps
	p.Steps = nil
	for i := range n {
		s := all[i%len(all)]
		s.ID = fmt.Sprintf("%s-%d", s.ID, i)
		p.Steps = append(p.Steps, s)
	}
	return lib, &p
}

// The goal is 100 µs for 40 steps, and ten times the steps in ten times the time.
func BenchmarkSteps(b *testing.B) {
	for _, n := range []int{40, 47, 400} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			lib, p := stepsOf(b, n)
			b.ReportAllocs()
			acts := 0
			for b.Loop() {
				acts = len(dryrun.Run(lib, p).Outcomes[0].Acts)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(acts), "ns/act")
		})
	}
}
