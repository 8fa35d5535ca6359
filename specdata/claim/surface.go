package claim

import (
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// size judges the size of a socket or a key by what the fastener is turned and held by,
// and by the tools of the set-up block that the act uses.
func (j *judging) size(q Claim, about []*Act) {
	var known []float64
	for _, a := range about {
		known = append(known, j.sizes(a, q.Unit)...)
	}
	if len(known) == 0 {
		return
	}
	if q.To < len(j.t.Tokens) && slices.Contains([]string{"bolt", "screw", "stud", "nut", "thread"}, j.t.Tokens[q.To].Stem) || slices.Contains([]string{"bolt", "screw", "stud", "nut", "thread"}, j.t.Tokens[q.To-1].Stem) {
		for _, a := range append(slices.Clone(about), j.scope.Acts...) { // "a six mil bolt" is one of M6
			if d, ok := diameter(a); ok {
				known = append(known, d)
			}
		}
	}
	for _, a := range j.scope.Acts {
		known = append(known, j.sizes(a, q.Unit)...)
	}
	switch {
	case slices.ContainsFunc(known, q.Number.Is):
	case q.Unit == "T":
		j.say(q, about, false, "the record has T%s", number(known[0]))
	default:
		j.say(q, about, false, "the record has %s mm", number(known[0]))
	}
}

// IsSize reports whether a number is the size of a socket or key of some acts.
func (w *World) IsSize(q Claim, as []*Act) bool {
	j := &judging{w: w}
	return slices.ContainsFunc(as, func(a *Act) bool { return slices.ContainsFunc(j.sizes(a, q.Unit), q.Number.Is) })
}

// diameter returns the nominal diameter of an act's metric thread, in millimetres.
func diameter(a *Act) (float64, bool) {
	if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Thread == nil {
		return 0, false
	}
	text, isMetric := strings.CutPrefix(a.Thing.Fastener.Thread.Designation, "M")
	text, _, _ = strings.Cut(text, "x")
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return v, isMetric && err == nil
}

// sizes lists the sizes across flats of an act, in millimetres, or those of its
// hexalobular bits, in unit T.
func (j *judging) sizes(a *Act, unit string) []float64 {
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
			if k.Unit == unit {
				out = append(out, k.Number.Readings...)
			}
		}
	}
	return out
}

// surface judges what is said to be on a thread: dry, oiled, greased, with threadlock.
func (j *judging) surface(c *Clause, q Claim, about []*Act) {
	near, nearSeal := false, false
	for i := max(c.From, q.From-4); i < min(c.To, q.To+4); i++ {
		switch j.t.Tokens[i].Stem {
		case "thread", "bolt", "nut", "stud", "screw", "taper", "cone":
			near = true
		case "seal", "washer":
			nearSeal = true
		}
	}
	if c.It && len(c.Names) == 0 && q.To < c.To && slices.Contains([]string{"on", "to"}, j.t.Tokens[q.To].Stem) { // "a bit of grease on it"
		near = true
	}
	if !near && !nearSeal || len(about) == 0 || c.IsAct("clean", "inspect") && q.Value != "oiled" && q.Value != "greased" {
		return
	}
	kept, wiped := j.keptOff(c, q)
	if wiped {
		return
	}
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Surface == nil || !near && a.Thing.Fastener.Surface.On != "seat" {
			return
		}
		if a.Op.Do == specdata.Remove || a.Op.Do == specdata.Slacken || a.Op.Do == specdata.Discard { // penetrant before undoing
			continue
		}
		s := a.Thing.Fastener.Surface
		has := s.Condition
		said, denied := q.Value, q.Denied || c.Denied || kept
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

// keptOff reports whether a clause keeps a product away, "keep the grease off the threads",
// or wipes off what is there.
func (j *judging) keptOff(c *Clause, q Claim) (kept, wiped bool) {
	off := false
	for i := q.To; i < min(c.To, q.To+6); i++ {
		off = off || slices.Contains([]string{"off", "away", "from", "out", "clear"}, j.t.Tokens[i].Stem)
	}
	for i := c.From; i < c.To; i++ {
		switch w := j.t.Tokens[i].Stem; {
		case w == "keep" && i < q.From:
			kept = kept || off
		case w == "nothing" || w == "none", w == "free" && i+1 < c.To && (j.t.Tokens[i+1].Stem == "of" || j.t.Tokens[i+1].Stem == "from"):
			kept = true
		case slices.Contains([]string{"wipe", "clean", "wash", "brush", "get", "scrape", "remove", "degrease"}, w) && i < q.From:
			wiped = wiped || off
		}
	}
	return kept, wiped
}
