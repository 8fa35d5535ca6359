package claim

import (
	"slices"

	"proofload/specdata"
)

// mustSay are the acts that a reader cannot guess from the others of a step.
var mustSay = []specdata.Verb{
	specdata.Tighten, specdata.StageVerb, specdata.Turn, specdata.Remove, specdata.Discard, specdata.LockVerb, specdata.Unlock, specdata.Fit,
	specdata.Raise, specdata.Support, specdata.Lower, specdata.Drain, specdata.Fill, specdata.Bleed, specdata.Pump, specdata.Hang, specdata.Connect,
	specdata.Disconnect, specdata.Measure, specdata.Apply, specdata.Isolate, specdata.Restore, specdata.RoadTest, specdata.SetAid,
}

// Unsaid lists the acts of a step that its sentence never mentions: it has neither the
// act nor the thing.
func (w *World) Unsaid(t *Text, acts []*Act) []*Act {
	said := map[string]bool{}
	for _, c := range w.canon(t.Tokens) {
		said[c.word] = true
	}
	for _, tok := range t.Tokens {
		said[tok.Stem] = true
	}
	var out []*Act
	for _, a := range acts {
		if !slices.Contains(mustSay, a.Op.Do) || w.mentions(t, a, said) {
			continue
		}
		out = append(out, a)
	}
	return out
}

func (w *World) mentions(t *Text, a *Act, said map[string]bool) bool {
	for i := range t.Clauses {
		c := &t.Clauses[i]
		if slices.Contains(c.Verbs(), a.Op.Do) || candidate(c.Names, a.Thing) {
			return true
		}
	}
	if len(specdata.Placeholders(t.Text, "torque")) > 0 && a.Thing != nil && a.Thing.Fastener != nil && slices.Contains(specdata.Placeholders(t.Text, "torque"), a.Thing.Fastener.ID) {
		return true
	}
	for _, x := range a.Thing.words {
		if said[x] && len(x) > 2 {
			return true
		}
	}
	for _, s := range []string{a.Op.Tool, a.Op.With} {
		for _, tok := range w.lex.Tokens(s) {
			if said[tok.Stem] && len(tok.Stem) > 2 {
				return true
			}
		}
	}
	return false
}

// Elsewhere is a tightening that a sentence claims of a fastener which its step leaves
// alone and another step tightens.
type Elsewhere struct {
	From, To int
	Acts     []*Act
}

// Again lists the tightenings that a sentence claims though other steps do them.
func (w *World) Again(t *Text, acts []*Act) []Elsewhere {
	var out []Elsewhere
	for i := range t.Clauses {
		c := &t.Clauses[i]
		if !c.IsAct("tighten") || c.Denied || c.Later || c.Past || len(c.Names) == 0 || c.IsAct("check", "advise", "record") {
			continue
		}
		for _, n := range c.Names {
			if n.Weak || !isFastener(n) || slices.ContainsFunc(acts, func(a *Act) bool { return slices.Contains(n.Candidates, a.Thing) }) {
				continue
			}
			others := filter(w.Acts, func(a *Act) bool {
				return a.Thing != nil && a.Thing.Fastener != nil && slices.Contains(n.Candidates, a.Thing) && (a.Op.Do == specdata.Tighten || a.Op.Do == specdata.StageVerb)
			})
			if len(others) > 0 && len(distinct(others)) == 1 {
				out = append(out, Elsewhere{n.From, n.To, others})
			}
		}
	}
	return out
}
