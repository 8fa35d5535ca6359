// Package assemblynotonvehicle holds the rule assembly-not-on-vehicle: assembly does not apply where the procedure does.
package assemblynotonvehicle

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "assembly-not-on-vehicle",
	Title:     "assembly does not apply where the procedure does",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	assemblies := make([]*specdata.Assembly, len(r.Assemblies))
	for i, id := range r.Assemblies {
		assemblies[i] = library.Assembly(p.Library, id)
	}
	for i, a := range assemblies {
		at := specdata.At("/assemblies", i, "")
		if a == nil {
			p.NotChecked(at, "assembly "+r.Assemblies[i]+" is not in the library")
			continue
		}
		if text := judge(p, r, a, family(assemblies, a)); text != "" {
			p.Report(lint.Problem{At: at, Message: text, Related: []specdata.Related{lint.Related(p.Library.Get(a.Name()), "/applies_to", "what the assembly applies to")}})
		}
	}
}

// family gathers the applicability of the assemblies of one place: they may share
// the vehicles of the procedure between them.
func family(assemblies []*specdata.Assembly, a *specdata.Assembly) []specdata.Applies {
	var as []specdata.Applies
	for _, o := range assemblies {
		if o != nil && o.Place == a.Place {
			as = append(as, o.AppliesTo...)
		}
	}
	return as
}

func judge(p *lint.Pass, r *specdata.Procedure, a *specdata.Assembly, family []specdata.Applies) string {
	none, rest, short := library.Shortfall(p.Library, r.AppliesTo, nil, a.AppliesTo, family)
	switch {
	case none:
		return fmt.Sprintf("assembly %s applies to none of the vehicles of this procedure; name the assembly of %s, or correct the applicability of one of the two", a.ID, r.AppliesTo[0])
	case short:
		return fmt.Sprintf("assembly %s does not apply to %s, which the procedure is also for; restrict the procedure, or name the assembly that applies there as well", a.ID, rest)
	}
	return ""
}
