// Package thingnotinassembly holds the rule thing-not-in-assembly: names a thing that the assembly does not have.
package thingnotinassembly

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "thing-not-in-assembly",
	Title:     "names a thing that the assembly does not have",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Record,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

// solid are the types that can be in the way of something or hang on it.
var solid = []string{"part", "joint", "connection", "clip"}

func check(p *lint.Pass) {
	switch r := p.Entry.Record.(type) {
	case *specdata.Assembly:
		assembly(p, r)
	case *specdata.Procedure:
		procedure(p, r)
	}
}

func assembly(p *lint.Pass, a *specdata.Assembly) {
	all := []*specdata.Assembly{a}
	list := func(at, owner string, ids []string, types ...string) {
		for i, id := range ids {
			if id == owner {
				p.Reportf(specdata.At(at, i, ""), "%s names itself; name what is in its way", id)
				continue
			}
			find(p, specdata.At(at, i, ""), id, all, types...)
		}
	}
	for i := range a.Parts {
		list(specdata.At("/parts", i, "behind"), a.Parts[i].ID, a.Parts[i].Behind, solid...)
		list(specdata.At("/parts", i, "seals"), a.Parts[i].ID, a.Parts[i].Seals, solid...)
	}
	for i := range a.Joints {
		list(specdata.At("/joints", i, "between"), "", a.Joints[i].Between, "part")
		list(specdata.At("/joints", i, "behind"), a.Joints[i].ID, a.Joints[i].Behind, solid...)
	}
	for i := range a.Connections {
		c := &a.Connections[i]
		if c.Circuit != "" {
			find(p, specdata.At("/connections", i, "circuit"), c.Circuit, all, "circuit")
		}
		list(specdata.At("/connections", i, "holds"), c.ID, c.Holds, solid...)
		list(specdata.At("/connections", i, "behind"), c.ID, c.Behind, solid...)
	}
	for at, t := range a.Openings() {
		if typ, id := t.Split(); slices.Contains(solid, typ) || typ == "circuit" {
			find(p, at, id, all, typ)
		}
	}
	for i := range a.Clips {
		list(specdata.At("/clips", i, "holds"), a.Clips[i].ID, a.Clips[i].Holds, solid...)
		list(specdata.At("/clips", i, "behind"), a.Clips[i].ID, a.Clips[i].Behind, solid...)
	}
}

func procedure(p *lint.Pass, r *specdata.Procedure) {
	var all []*specdata.Assembly
	for i, id := range r.Assemblies {
		a := library.Assembly(p.Library, id)
		if a == nil {
			p.NotChecked(specdata.At("/assemblies", i, ""), "assembly "+id+" is not in the library, and what it has cannot be known")
			return
		}
		all = append(all, a)
	}
	for i := range r.Parts {
		if id := r.Parts[i].Part; id != "" {
			find(p, specdata.At("/parts", i, "part"), id, all, "part")
		}
	}
	for i := range r.Steps {
		for j := range r.Steps[i].Operations {
			typ, id := r.Steps[i].Operations[j].Target.Split()
			if typ == "circuit" || slices.Contains(solid, typ) {
				find(p, specdata.At(specdata.At("/steps", i, "operations"), j, "target"), id, all, typ)
			}
		}
	}
}

// find speaks unless one of the assemblies has a thing of one of the types with the id.
func find(p *lint.Pass, at, id string, all []*specdata.Assembly, types ...string) {
	var ids []string
	other := ""
	for _, a := range all {
		for typ, have := range a.Things() {
			if slices.Contains(types, typ) {
				if have == id {
					return
				}
				ids = append(ids, have)
			} else if have == id {
				other = typ
			}
		}
	}
	where := "this assembly"
	if _, ok := p.Entry.Record.(*specdata.Procedure); ok {
		where = "an assembly of this procedure"
	}
	want := types[0]
	if len(types) > 1 {
		want = "part, joint, connection or clip"
	}
	if other != "" {
		p.Reportf(at, "%s is a %s of %s, and a %s is wanted here; name the %s", id, other, where, want, want)
		return
	}
	p.Report(lint.Problem{At: at, Message: fmt.Sprintf("no %s of %s has the id %q%s; correct the id, or add the thing to the assembly", want, where, id, specdata.DidYouMean(id, slices.Values(ids)))})
}
