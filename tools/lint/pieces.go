package lint

import (
	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// NewPiece is how many new pieces of a target one variant of a procedure puts on, at
// most, and the first act that does.
type NewPiece struct {
	First *dryrun.Act
	Count int
}

// NewPieces returns, by target, the new pieces that the procedure puts on, and the
// targets in order of their first use.
func (p *Pass) NewPieces() (map[specdata.Target]NewPiece, []specdata.Target) {
	most, order := map[specdata.Target]NewPiece{}, []specdata.Target(nil)
	for _, o := range p.DryRun().Outcomes {
		counts := map[specdata.Target]int{}
		for _, a := range o.Acts {
			if !a.New || a.Do != specdata.Start && a.Do != specdata.Fit {
				continue
			}
			n := 1
			if typ, id := a.Target.Split(); len(a.Positions) > 0 {
				n = len(a.Positions)
			} else if f := library.Fastener(p.Library, id); typ == "fastener" && f != nil {
				n = f.Count
			}
			counts[a.Target] += n
			u, seen := most[a.Target]
			if !seen {
				order = append(order, a.Target)
				u.First = a
			}
			u.Count = max(u.Count, counts[a.Target])
			most[a.Target] = u
		}
	}
	return most, order
}
