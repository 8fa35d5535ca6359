package draft

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/dryrun"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

// Request says what to free.
type Request struct {
	// Assembly and Part are ids: the part is one of the assembly's.
	Assembly, Part string
	// Vehicle is a vehicle's id. The draft is for everything of it that the assembly
	// applies to: build range and options are the assembly's.
	Vehicle string
}

// Draft is a first procedure with what a person must still settle.
type Draft struct {
	Procedure *specdata.Procedure
	// Order is the shortest dismantling order. The procedure takes more off where a
	// seal or a drain plug comes with it.
	Order Order
	// Missing lists what the records do not say and the job needs, in words.
	Missing []string
	// Problems is what the dry run finds in the draft; none when it passes.
	Problems []dryrun.Problem
}

// New drafts the procedure that frees a part and puts it back. The draft has no
// source and no signature, because nobody has read or checked it; its note names
// the assembly. New fails when the assembly, part or vehicle does not exist or they
// do not go together, and with a *Blocked when no admissible order exists.
func New(l library.Library, r Request) (*Draft, error) {
	a := library.Assembly(l, r.Assembly)
	if a == nil {
		return nil, fmt.Errorf("assembly %q is not in the library", r.Assembly)
	}
	vehicle := library.Vehicle(l, r.Vehicle)
	if vehicle == nil {
		return nil, fmt.Errorf("vehicle %q is not in the library", r.Vehicle)
	}
	var clauses []specdata.Applies
	for _, c := range a.AppliesTo {
		if c.Vehicle == r.Vehicle {
			clauses = append(clauses, c)
		}
	}
	if len(clauses) == 0 {
		return nil, fmt.Errorf("assembly %s does not apply to vehicle %s", r.Assembly, r.Vehicle)
	}
	i := slices.IndexFunc(a.Parts, func(p specdata.Part) bool { return p.ID == r.Part })
	if i < 0 {
		var ids []string
		for _, p := range a.Parts {
			ids = append(ids, p.ID)
		}
		return nil, fmt.Errorf("part %q is not in assembly %s; its parts: %s", r.Part, r.Assembly, strings.Join(ids, ", "))
	}
	g := newGraph(l, a, clauses)
	order, err := g.shortest(specdata.Target("part:" + r.Part))
	if err != nil {
		return nil, err
	}
	w := newWriter(l, a, &a.Parts[i], vehicle, clauses)
	w.procedure = &specdata.Procedure{
		Head: specdata.Head{
			Kind: specdata.KindProcedure, ID: jobID(a.ID, r.Vehicle, r.Part), Title: jobTitle(w.part),
			Note: "Drafted from assemblies/" + a.ID + " and the records it names; nobody has checked it. Compare every step with the vehicle maker's information before anyone follows it.",
		},
		AppliesTo: clauses, Assemblies: []string{a.ID}, Sides: "none",
	}
	if a.Handed {
		w.procedure.Sides = "one"
	}
	w.acts = w.withSeals(g, order.Acts)
	w.missing = append(w.missing, g.unknown(w.acts)...)
	w.write()
	w.agree()
	d := &Draft{Procedure: w.procedure, Order: order, Missing: w.missing}
	d.Problems = dryrun.Run(l, w.procedure).Problems()
	return d, nil
}

// agree sets the sentence of a step to the one composed from its acts wherever the one written for
// it contradicts an act or leaves one unsaid.
func (w *writer) agree() {
	words := claim.New(w.procedure, w.library, lexicon.Default(), "")
	for i := range w.procedure.Steps {
		if s := &w.procedure.Steps[i]; !words.ReadsBack(i) {
			s.Text = words.Compose(i)
		}
	}
}

// jobID returns the id of a draft: assembly and part, with the vehicle in front
// where the assembly's id does not begin with it.
func jobID(assembly, vehicle, part string) string {
	id := assembly + "-" + part
	if !strings.HasPrefix(id, vehicle+"-") {
		id = vehicle + "-" + id
	}
	return clipID(id)
}

func clipID(s string) string {
	if len(s) > specdata.MaxID {
		s = strings.TrimRight(s[:specdata.MaxID], "-")
	}
	return s
}

func jobTitle(p *specdata.Part) string {
	if p.Renew {
		return title(p.Title) + ", renew (draft)"
	}
	return title(p.Title) + ", remove and refit (draft)"
}
