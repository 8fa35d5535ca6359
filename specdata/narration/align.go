package narration

import (
	"slices"

	"proofload/specdata"
	"proofload/specdata/claim"
)

// row is one step as it is done: repeats unrolled.
type row struct {
	step     int
	repeated bool
	side     specdata.Side
	acts     []*claim.Act
}

// rowsOf lists the steps in the order in which they are done.
func rowsOf(w *claim.World) []row {
	var rows []row
	for i := range w.Procedure.Steps {
		s := &w.Procedure.Steps[i]
		if s.Repeat != nil {
			rows = append(rows, row{step: i, side: s.Repeat.Side})
		}
		if acts := w.StepActs(i); len(acts) > 0 {
			rows = append(rows, row{step: i, side: acts[0].Side, acts: acts})
		}
		if s.Repeat == nil {
			continue
		}
		in := false
		for j := range w.Procedure.Steps[:i] {
			in = in || w.Procedure.Steps[j].ID == s.Repeat.From
			if in {
				rows = append(rows, row{step: j, repeated: true, side: s.Repeat.Side, acts: w.StepActs(j)})
			}
			in = in && w.Procedure.Steps[j].ID != s.Repeat.To
		}
	}
	return rows
}

// telling are the acts that a verb alone tells.
var telling = []specdata.Verb{
	specdata.Secure, specdata.Raise, specdata.Support, specdata.Lower, specdata.Drain, specdata.Fill, specdata.Bleed, specdata.Pump, specdata.LockVerb,
	specdata.RoadTest, specdata.Advise, specdata.RecordJob, specdata.Align, specdata.Relearn, specdata.Hang, specdata.LoadSuspension, specdata.UnloadSuspension,
	specdata.Isolate, specdata.Restore, specdata.Depressurise,
}

// score says how well a clause fits a row; 0 is not at all.
func score(w *claim.World, h *heard, verbs []specdata.Verb, r *row) float64 {
	c := h.c()
	best := 0.0
	for _, a := range r.acts {
		s := 0.0
		does := slices.Contains(verbs, a.Op.Do)
		switch on := c.Mentions(a.Thing); {
		case on && does:
			s = 4
		case on:
			s = 1.5
		case does && slices.Contains(telling, a.Op.Do):
			s = 2
		case does:
			s = 0.3
		case a.Op.Do == specdata.Lower && len(c.Names) == 0 && slices.ContainsFunc(c.Claims, func(q claim.Claim) bool { return q.Kind == claim.OfState && q.Value == "on-ground" }):
			s = 1 // "down on the ground"
		}
		if a.Thing != nil && a.Thing.Fastener != nil {
			for _, q := range c.Claims {
				if claim.IsTorque(q) && claim.HasValue(a, q) {
					s += 3
				}
			}
		}
		best = max(best, s)
	}
	if best > 0 {
		for _, q := range c.Claims {
			if q.Kind == claim.OfSide && r.side != "" {
				if q.Value == string(r.side) {
					best += 0.5
				} else if q.Value == "left" || q.Value == "right" {
					best -= 0.5
				}
			}
		}
	}
	return best
}

// The cost of passing a row over without a word of it, and the least score that moves
// the job on.
const (
	skip  = 0.2
	least = 0.6
)

// align finds the rows that the clauses are about: the best sequence that never goes back
// (a Needleman-Wunsch alignment with free gaps in the speech). Its cost is the number of
// clauses times the number of rows.
func align(w *claim.World, hs []*heard, rows []row) {
	m := len(rows)
	if m == 0 {
		return
	}
	best := make([]float64, m)
	for j := range best {
		best[j] = -skip * float64(j)
	}
	from := make([][]int16, len(hs)) // where the job was before the clause; -1: the clause is a gap
	reached := make([]float64, m)
	source := make([]int16, m)
	for i, h := range hs {
		verbs := h.c().Verbs()
		for j := range reached {
			reached[j], source[j] = best[j], int16(j)
			if j > 0 && reached[j-1]-skip > reached[j] {
				reached[j], source[j] = reached[j-1]-skip, source[j-1]
			}
		}
		back := make([]int16, m)
		for j := range rows {
			back[j] = -1
			if h.c().Later || h.c().Past {
				continue
			}
			if s := score(w, h, verbs, &rows[j]); s >= least && reached[j]+s > best[j] {
				best[j], back[j] = reached[j]+s, source[j]
			}
		}
		from[i] = back
	}
	at := 0
	for j := range best {
		if best[j] > best[at] {
			at = j
		}
	}
	for i := len(hs) - 1; i >= 0; i-- {
		hs[i].at = at
		if b := from[i][at]; b >= 0 {
			hs[i].row, at = at, int(b)
		}
	}
}
