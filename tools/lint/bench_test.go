package lint_test

import (
	"fmt"
	"testing"

	"proofload/tools/lint"
)

// BenchmarkEngine measures what the engine itself costs: twenty rules that look
// and find nothing.
func BenchmarkEngine(b *testing.B) {
	for _, n := range []int{10_000, 100_000} {
		texts := make([]string, n)
		for i := range texts {
			texts[i] = source(fmt.Sprintf("s-%06d", i))
		}
		lib := sources(b, texts...)
		var rules []*lint.Rule
		for i := range 20 {
			rules = append(rules, rule(fmt.Sprintf("looks-only-%d", i), func(p *lint.Pass) {
				if p.Source().Title == "" {
					p.Reportf("/title", "empty")
				}
			}))
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				run(b, lint.Options{Rules: rules, Library: lib})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/record")
		})
	}
}
