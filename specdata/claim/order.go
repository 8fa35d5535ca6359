package claim

import (
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// families are orders that people say for each other: of five nuts a cross is a star.
var families = map[string]string{"cross": "cross", "star": "cross"}

func family(order string) string {
	if f, ok := families[order]; ok {
		return f
	}
	return order
}

func (j *judging) pattern(c *Clause, q Claim, about []*Act) {
	own := ""
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Tightening == nil {
			continue
		}
		if slices.ContainsFunc(j.w.claims(j.w.lex.Tokens(a.Op.Note), nil), func(k Claim) bool { return k.Kind == OfPattern && family(k.Value) == family(q.Value) }) {
			return
		}
		p := a.Thing.Fastener.Tightening.Pattern
		if p == nil {
			continue
		}
		order := p.Order
		if a.Op.Do == specdata.Slacken || a.Op.Do == specdata.Remove {
			switch {
			case p.Loosen != "reverse":
				continue // in any order, then
			case order == "centre-out":
				order = "ends-in"
			default:
				continue
			}
		}
		if family(order) == family(q.Value) || order == "one" {
			return
		}
		if order == "sequence" && (q.Value == "sequence" || q.Value == "spiral") {
			return
		}
		own = order
	}
	if own != "" && !q.Denied {
		j.say(q, about, true, "the record has the order %s", strings.ReplaceAll(own, "-", " "))
	}
}

// times judges "in two rounds", "stage one of four", "with two people".
func (j *judging) times(q Claim, about []*Act) {
	var known []float64
	for _, a := range about {
		f := (*specdata.Fastener)(nil)
		if a.Thing != nil {
			f = a.Thing.Fastener
		}
		switch q.Unit {
		case "stage":
			if a.Op.Stage > 0 {
				known = append(known, float64(a.Op.Stage))
			}
			if f != nil && f.Tightening != nil && a.Op.Stage > 0 {
				if q.From > 0 && j.t.Tokens[q.From-1].Stem == "of" {
					known = append(known[:0], float64(len(f.Tightening.Stages)))
				}
			}
		case "round":
			if f != nil && f.Tightening != nil && f.Tightening.Pattern != nil && f.Tightening.Pattern.Passes > 0 && (a.Op.Do == specdata.Tighten || a.Op.Do == specdata.StageVerb) {
				known = append(known, float64(f.Tightening.Pattern.Passes))
			}
		}
		known = append(known, j.noted(a.Op.Note+"; "+a.Op.Accept, q.Unit)...)
	}
	if len(known) == 0 {
		for _, a := range j.scope.Acts {
			known = append(known, j.noted(a.Op.Note+"; "+a.Op.Accept, q.Unit)...)
		}
	}
	for _, k := range known {
		if q.Number.Is(k) {
			return
		}
	}
	if len(known) > 0 {
		j.say(q, about, q.Unit == "stage" || q.Unit == "people", "the act has %s", strconv.FormatFloat(known[0], 'g', -1, 64))
	}
}

// noted lists the numbers that a note has of one unit.
func (j *judging) noted(note, unit string) []float64 {
	var out []float64
	for _, k := range j.w.claims(j.w.lex.Tokens(note), nil) {
		if k.Unit == unit && k.Number != nil {
			out = append(out, k.Number.Readings...)
		}
	}
	return out
}
