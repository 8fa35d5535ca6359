package sheet

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"reflect"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

// usesOf lists what a sheet rests on: the procedure, the vehicle, and whatever these
// refer to, directly or through each other, that is not another vehicle or procedure.
// It is told from the records alone, and not from what a version of this program
// happens to read, so that a code stays true when the program changes.
func usesOf(l library.Library, p *library.Entry, vehicle string) []Used {
	found := map[specdata.Name]string{}
	var add func(e *library.Entry)
	add = func(e *library.Entry) {
		if e == nil {
			return
		}
		if _, ok := found[e.Name()]; ok {
			return
		}
		found[e.Name()] = e.Hash
		for _, ref := range specdata.References(e.Record) {
			if k := ref.Name.Kind(); k != specdata.KindVehicle && k != specdata.KindProcedure {
				add(l.Get(ref.Name))
			}
		}
	}
	add(p)
	add(l.Get(specdata.NewName(specdata.KindVehicle, vehicle)))
	var out []Used
	for _, name := range slices.Sorted(maps.Keys(found)) {
		out = append(out, Used{name, found[name]})
	}
	return out
}

// HashOf returns the SHA-256, in lower-case hex, over the names and hashes of records, a
// line each as "name hash".
func HashOf(uses []Used) string {
	h := sha256.New()
	for _, u := range uses {
		fmt.Fprintf(h, "%s %s\n", u.Name, u.Hash)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Find returns the request whose sheet has a code, among all sheets that can be made of
// a procedure of a library, which must be of the code's position. ok is false where
// no sheet has it.
func Find(l library.Library, c Code, origin, procedure string) (r Request, ok bool) {
	e := l.Get(specdata.NewName(specdata.KindProcedure, procedure))
	if e == nil {
		return r, false
	}
	p, isProcedure := e.Record.(*specdata.Procedure)
	if !isProcedure {
		return r, false
	}
	sides := []specdata.Side{""}
	if p.Sides == "one" {
		sides = []specdata.Side{specdata.SideLeft, specdata.SideRight}
	}
	for _, v := range dryrun.Variants(l, p) {
		uses := usesOf(l, e, v.Vehicle)
		for _, asked := range sides {
			side, err := whom.SideOf(l, p, string(asked))
			if err != nil {
				continue
			}
			m := whom.Moment{Position: c.Position}
			s := &Sheet{Procedure: p.Name(), Variant: v.String(), For: whom.For{}.OnSide(side).At(m), Uses: uses}
			if got, err := s.Code(origin, c.Leaf); err != nil || got != c {
				continue
			}
			return Request{Procedure: p.ID, Variant: &v, Side: asked, Moment: m, CheckCode: c.String()}, true
		}
	}
	return r, false
}

// Uses lists what the sheet of a request that Find gave rests on, in order of name.
func Uses(l library.Library, r Request) []Used {
	e := l.Get(specdata.NewName(specdata.KindProcedure, r.Procedure))
	if e == nil || r.Variant == nil {
		return nil
	}
	return usesOf(l, e, r.Variant.Vehicle)
}

// SaysTheSame reports whether two sheets are the same in every line but for when and
// from which position they were printed.
func (s *Sheet) SaysTheSame(o *Sheet) bool {
	a, b := *s, *o
	for _, x := range []*Sheet{&a, &b} {
		x.For, x.Printed, x.CheckCode, x.CheckURL, x.Notice, x.Hash, x.Uses = whom.For{}, "", "", "", "", "", nil
	}
	return s.For.Lines() == o.For.Lines() && reflect.DeepEqual(a, b)
}
