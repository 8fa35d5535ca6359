// Package recordednotmeasured finds a measure that the record asks for and no step takes.
package recordednotmeasured

import (
	_ "embed"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "recorded-not-measured",
	Title:     "measure that is recorded and that nothing takes",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// measure is what a shop writes down as a number. "The torques" are reached, not measured.
var measure = lint.MustPhrase(`(?i)\b(?:run-?out|thickness(?:es)?|diameters?|end[ -]float|ride[ -]heights?|push-rod stroke|stroke|backlash|preload|compression|toe|camber|castor|(?:tyre|oil|fuel|boost) pressures?)\b`)

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		s := &r.Steps[i]
		for j := range s.Operations {
			if s.Operations[j].Do != specdata.RecordJob {
				continue
			}
			said := s.Text + "; " + s.Operations[j].Note
			for _, found := range measure.FindAllStringSubmatch(said, -1) {
				what := strings.ToLower(found[0])
				if !taken(r, what) {
					p.Reportf(specdata.At("/steps", i, "text"), "the record asks for the %s and no step measures it; add {do: measure, target: …, accept: %s within its limit} where it can be read, or take it out of the record", what, what)
					break
				}
			}
		}
	}
}

// taken reports whether some act of a procedure takes a measure: one that measures,
// counts or aligns and whose words name it.
func taken(r *specdata.Procedure, what string) bool {
	plain := strings.TrimSuffix(strings.ReplaceAll(what, "-", " "), "s")
	return slices.ContainsFunc(r.Steps, func(s specdata.Step) bool {
		return slices.ContainsFunc(s.Operations, func(o specdata.Operation) bool {
			takes := o.Do == specdata.Measure || o.Do == specdata.Count || o.Do == specdata.Align || !o.Low.IsZero() || !o.High.IsZero()
			words := strings.ToLower(strings.ReplaceAll(s.Text+"; "+string(o.Target)+"; "+o.Accept+"; "+o.Note+"; "+o.Limit, "-", " "))
			return takes && (strings.Contains(words, plain) || strings.HasPrefix(string(o.Target), "suspension:") && plain == "ride height" ||
				o.Do == specdata.Align && (plain == "toe" || plain == "camber" || plain == "castor"))
		})
	})
}
