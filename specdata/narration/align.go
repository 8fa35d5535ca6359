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
	if goesOn(h) {
		return 0
	}
	if r.repeats() && saysAgain(h, r.side) && !slices.ContainsFunc(c.Claims, claim.IsTorque) {
		return again
	}
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
			tightens := len(tightened([]*claim.Act{a})) > 0
			for _, q := range c.Claims {
				switch {
				case claim.IsTorque(q) && tightens && claim.HasValue(a, q):
					s += 3
				case q.Kind == claim.OfTimes && q.Unit == "stage" && h.text.Tokens[max(0, q.From-1)].Stem != "of" && a.Op.Stage > 0 && q.Number.Is(float64(a.Op.Stage)):
					s += 1.5
				case q.Kind == claim.OfQuantity && (q.Unit == "deg" || q.Unit == "turn") && tightens && claim.HasValue(a, q):
					s += 1.5
				case q.Kind == claim.OfCount && q.Number != nil && s > 0 && q.Number.Is(float64(a.Thing.Fastener.Count)) && a.Thing.Fastener.Count > 2:
					s++
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

// goesOn reports whether a clause only goes on with the value before it: "that's a hundred
// and eighteen foot pounds".
func goesOn(h *heard) bool {
	c := h.c()
	if len(c.Names) > 0 || len(c.Acts) > 0 || !slices.ContainsFunc(c.Claims, claim.IsTorque) {
		return false
	}
	first := h.tokens()[0].Stem
	return first == "that's" || first == "thats" || first == "which" || first == "or" || first == "that" || first == "it's"
}

// The cost of passing a row over without a word of it, and the least score that moves
// the job on.
const (
	skip  = 0.2
	least = 0.6
)

// again is what it costs to come to the repeat of steps without a word of repeating, and
// what such a word is worth.
const again = 6

// passing lists what it costs to come to each row from the one before, and for the row
// behind a repeat the one before it, from which the repeat may be passed over; -1 for others.
func passing(rows []row) (pass []float64, over []int) {
	pass, over = make([]float64, len(rows)), make([]int, len(rows))
	before := -1
	for j := range rows {
		pass[j], over[j] = skip, -1
		if rows[j].repeats() {
			pass[j], before = again, j-1
		} else if before >= 0 && !rows[j].repeated {
			over[j], before = before, -1
		}
	}
	return pass, over
}

// repeats reports whether a row only says that earlier steps are done again.
func (r *row) repeats() bool { return len(r.acts) == 0 && !r.repeated }

// saysAgain reports whether a clause says that steps are done again on a side.
func saysAgain(h *heard, side specdata.Side) bool {
	ts := h.tokens()
	for i, t := range ts {
		switch t.Stem {
		case "other", "both", "repeat", "again":
			return true
		case "same":
			if i+1 == len(ts) || !slices.Contains([]string{"hole", "place", "way", "order", "amount", "number", "torque", "value"}, ts[i+1].Stem) {
				return true
			}
		}
	}
	return slices.ContainsFunc(h.c().Claims, func(q claim.Claim) bool { return q.Kind == claim.OfSide && q.Value == string(side) })
}

// align finds the rows that the clauses are about: the best sequence that never goes back
// (a Needleman-Wunsch alignment with free gaps in the speech). Its cost is the number of
// clauses times the number of rows.
func align(w *claim.World, hs []*heard, rows []row) {
	m := len(rows)
	if m == 0 {
		return
	}
	best := make([]float64, m)
	pass, over := passing(rows)
	for j := 1; j < m; j++ {
		if best[j] = best[j-1] - pass[j]; over[j] >= 0 {
			best[j] = max(best[j], best[over[j]]-skip)
		}
	}
	from := make([][]int16, len(hs)) // where the job was before the clause; -1: the clause is a gap
	reached := make([]float64, m)
	source := make([]int16, m)
	for i, h := range hs {
		verbs := h.c().Verbs()
		// carry is the best that comes to a row from those before it: the next row costs
		// nothing, each row that is passed over its cost.
		carry, from0 := 0.0, int16(-1)
		for j := range reached {
			reached[j], source[j] = best[j], int16(j)
			if j > 0 {
				stepped := best[j-1]
				if pass[j] > skip {
					stepped -= pass[j]
				}
				if from0 >= 0 && carry-pass[j] > stepped {
					carry -= pass[j]
				} else {
					carry, from0 = stepped, int16(j-1)
				}
				if carry > reached[j] {
					reached[j], source[j] = carry, from0
				}
			}
			if k := over[j]; k >= 0 && reached[k]-skip > reached[j] {
				reached[j], source[j] = reached[k]-skip, source[k]
				carry, from0 = reached[j], source[j]
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
	done := -1
	for _, h := range hs {
		done = max(done, h.row)
		h.done = done
	}
}
