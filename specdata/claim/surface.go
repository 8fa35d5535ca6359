package claim

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// size judges the size of a socket or a key by what the fastener is turned and held by,
// and by the tools of the set-up block that the act uses.
func (j *judging) size(q Claim, about []*Act) {
	var known []float64
	for _, a := range about {
		known = append(known, j.sizes(a)...)
	}
	if len(known) == 0 {
		return
	}
	for _, a := range j.scope.Acts {
		known = append(known, j.sizes(a)...)
	}
	if !slices.ContainsFunc(known, q.Number.Is) {
		j.say(q, about, false, "the record has %s mm", number(known[0]))
	}
}

// sizes lists the sizes across flats of an act, in millimetres.
func (j *judging) sizes(a *Act) []float64 {
	if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Drive == nil {
		return nil
	}
	d := a.Thing.Fastener.Drive
	texts := []string{d.Nut, d.Head}
	if d.Turn == "head" {
		texts = []string{d.Head, d.Nut}
	}
	if t := a.Thing.Fastener.Tightening; t != nil && t.Hold != nil {
		texts = append(texts, t.Hold.With)
	}
	for _, id := range []string{a.Op.Tool, a.Op.With} {
		if t := j.w.Procedure.ToolOf(id); t != nil {
			texts = append(texts, t.Size)
		}
	}
	var out []float64
	for _, text := range texts {
		for _, k := range j.w.numbers(j.w.lex.Tokens(text), j.w.lex.Longest(j.w.lex.Tokens(text)), nil, nil) {
			if k.Unit == "mm" {
				out = append(out, k.Number.Readings...)
			}
		}
	}
	return out
}

// surface judges what is said to be on a thread: dry, oiled, greased, with threadlock.
func (j *judging) surface(c *Clause, q Claim, about []*Act) {
	near := false
	for i := max(c.From, q.From-4); i < min(c.To, q.To+4); i++ {
		switch j.t.Tokens[i].Stem {
		case "thread", "bolt", "nut", "stud", "screw", "taper", "cone":
			near = true
		}
	}
	if !near || len(about) == 0 || c.IsAct("clean", "inspect") && q.Value != "oiled" && q.Value != "greased" {
		return
	}
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Surface == nil {
			return
		}
		if a.Op.Do == specdata.Remove || a.Op.Do == specdata.Slacken || a.Op.Do == specdata.Discard { // penetrant before undoing
			continue
		}
		s := a.Thing.Fastener.Surface
		has := s.Condition
		said, denied := q.Value, q.Denied || c.Denied
		wrong := !denied && (has == "dry" && (said == "oiled" || said == "greased" || said == "threadlocked" || said == "compound") ||
			(has == "oiled" || has == "greased" || has == "threadlock") && said == "dry" || (has == "precoated" || has == "zinc-flake" || has == "zinc-flake-dry") && (said == "oiled" || said == "greased")) ||
			denied && (has == "oiled" && said == "oiled" || has == "greased" && said == "greased" || has == "dry" && said == "dry")
		if !wrong {
			return
		}
	}
	if f := about[len(about)-1].Thing.Fastener; f != nil {
		j.say(q, about, true, "the record has %s", strings.ReplaceAll(f.Surface.Condition, "-", " "))
	}
}
