package dryrun

import (
	"proofload/specdata"
	"proofload/specdata/library"
)

// Done is how a vehicle stands after part of a procedure was done.
type Done struct {
	*Outcome
	// Open is what is off, loose or owed, in the order it was opened; Mends says of
	// each what closes it.
	Open  []Entry
	Mends []string
	// Refused are the preconditions that the last of the moments broke.
	Refused []Problem
	// Around is how the vehicle stands.
	Around Surroundings
}

// RunDone executes the moments of a variant that somebody did, in the order in which
// they did them. done holds indexes into the Timeline of RunVariant for the same
// procedure and variant; those outside it are passed over. What is still open is no
// problem of it: the work goes on.
func RunDone(l library.Library, p *specdata.Procedure, v Variant, done []int) *Done {
	all, cut := expand(p, v)
	var moments [][]*Act
	for i, a := range all {
		if i == 0 || newMoment(all[i-1], a) {
			moments = append(moments, nil)
		}
		moments[len(moments)-1] = append(moments[len(moments)-1], a)
	}
	m := newMachine(l, p, v, all, cut)
	out := &Done{Outcome: m.out}
	for _, n := range done {
		if n < 0 || n >= len(moments) {
			continue
		}
		before := len(m.out.Problems)
		m.execute(moments[n])
		out.Refused = m.out.Problems[before:]
	}
	for _, e := range m.ledger.left() {
		out.Open = append(out.Open, *e)
		out.Mends = append(out.Mends, m.closing(e))
	}
	out.Around = *m.around()
	return out
}
