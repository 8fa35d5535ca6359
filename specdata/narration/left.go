package narration

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/lexicon"
	"proofload/specdata/wording"
)

// softWords make a value of a safety fastener a guess.
var softWords = []string{"about", "roughly", "approximately", "ish", "thereabouts", "ballpark", "somewhere", "circa"}

var softPhrases = [][]string{{"or", "so"}, {"give", "or", "take"}, {"good", "and", "tight"}, {"nice", "and", "tight"}, {"tight", "enough"}, {"by", "feel"}, {"good", "enough"}, {"close", "enough"}}

// soft finds a soft word on the value of a fastener that a life hangs on.
func (j *judge) soft(h *heard, about []*claim.Act) {
	c := h.c()
	at := -1
	value := slices.ContainsFunc(c.Claims, claim.IsTorque)
	ts := h.text.Tokens
	phrase := false
	for i := c.From; i < c.To; i++ {
		if value && slices.Contains(softWords, ts[i].Stem) {
			at = i
		}
		for _, p := range softPhrases {
			ok := i+len(p) <= c.To
			for k := 0; ok && k < len(p); k++ {
				ok = ts[i+k].Stem == p[k]
			}
			if ok && (value || p[len(p)-1] == "tight" || p[len(p)-1] == "feel") {
				at, phrase = i, true
			}
		}
		if value && (strings.HasSuffix(ts[i].Stem, "ish") && ts[i].Stem != "finish" && len(ts[i].Stem) > 3) {
			at = i
		}
	}
	if at < 0 || !value && !phrase {
		return
	}
	for _, a := range tightened(about) {
		if a.Thing.Fastener.Safety != "" {
			j.say(h, "soft", specdata.Warning, a, "says \"%s\" of a value that holds the %s; say the value", ts[at].Text, a.Thing.Fastener.Safety)
			return
		}
	}
	if as := tightened(about); value && len(as) > 0 {
		j.say(h, "soft", specdata.Advice, as[0], "says \"%s\" of a value that is set on a torque wrench; say the value", ts[at].Text)
	}
}

// leftOut finds what the procedure does and nobody said.
func (j *judge) leftOut() {
	j.valuesLeftOut()
	j.mustLeftOut()
	j.repeatsLeftOut()
	j.sidesLeftOut()
	j.limitsLeftOut()
}

// optional reports whether an act is done on some variants only, so that leaving it out
// may be right.
func (j *judge) optional(a *claim.Act) bool { return len(j.w.Procedure.Steps[a.Step].Where) > 0 }

// repeatsLeftOut finds repeats of steps on the other side that nobody says.
func (j *judge) repeatsLeftOut() {
	for r := range j.rows {
		s := &j.w.Procedure.Steps[j.rows[r].step]
		if s.Repeat == nil {
			continue
		}
		last := r
		for last+1 < len(j.rows) && j.rows[last+1].repeated {
			last++
		}
		said := slices.ContainsFunc(j.hs, func(h *heard) bool {
			if h.at < r-1 || h.at > last {
				return false
			}
			if h.row >= r && h.row <= last {
				return true
			}
			return saysAgain(h, s.Repeat.Side)
		})
		if !said {
			j.missing("left-out", specdata.Error, &claim.Act{Step: j.rows[r].step}, "nobody says that it is done again on the "+string(s.Repeat.Side)+" side")
		}
	}
}

// valuesLeftOut finds fasteners whose tightening value nobody said, and angles left out.
func (j *judge) valuesLeftOut() {
	seen := map[specdata.Target]bool{}
	for _, a := range tightened(j.w.Acts) {
		t := a.Thing.Fastener.Tightening
		if t == nil || seen[a.Op.Target] || j.optional(a) {
			continue
		}
		seen[a.Op.Target] = true
		torques, angles, missed, angleSaid := 0, 0, 0, 0
		for i := range t.Stages {
			switch s := &t.Stages[i]; {
			case !s.Torque.IsZero() || !s.Rolling.IsZero():
				torques++
				if !j.said[a.Op.Target][i+1] {
					missed++
				}
			case !s.Angle.IsZero():
				angles++
				if j.said[a.Op.Target][i+1] {
					angleSaid++
				}
			}
		}
		severity := specdata.Warning
		if a.Thing.Fastener.Safety != "" {
			severity = specdata.Error
		}
		switch {
		case j.flagged[a.Op.Target]:
		case torques > 0 && missed == torques:
			j.missing("left-out", severity, a, "nobody says the value of the "+specdata.InSentence(a.Thing.Title)+": "+wording.Tightening(t))
		case missed > 0 && (torques > 1):
			j.missing("left-out", severity, a, "nobody says every stage of the "+specdata.InSentence(a.Thing.Title)+": "+wording.Tightening(t))
		case angles > angleSaid && torques > 0:
			j.missing("angle-left-out", severity, a, "the angle of the "+specdata.InSentence(a.Thing.Title)+" is left out: "+wording.Tightening(t))
		}
	}
}

// sidesLeftOut finds tightenings of one side that nobody said though the other side's
// were.
func (j *judge) sidesLeftOut() {
	for r := range j.rows {
		this := &j.rows[r]
		as := tightened(this.acts)
		if this.repeated || this.side == "" || len(as) == 0 || as[0].Thing.Fastener.Safety == "" || j.flagged[as[0].Op.Target] || j.said[as[0].Op.Target] == nil {
			continue
		}
		sibling := slices.ContainsFunc(j.rows, func(o row) bool {
			return !o.repeated && o.step != this.step && o.side != this.side && o.side != "" && slices.ContainsFunc(o.acts, func(a *claim.Act) bool { return a.Op.Target == as[0].Op.Target && a.Op.Do == as[0].Op.Do })
		})
		if !sibling || j.spoken(r, as[0]) {
			continue
		}
		j.missing("left-out", specdata.Error, as[0], "nobody says the "+string(this.side)+" one: "+specdata.InSentence(as[0].Thing.Title)+", "+wording.Tightening(as[0].Thing.Fastener.Tightening))
	}
}

// spoken reports whether a row was said: in its own words, or with its other side's.
func (j *judge) spoken(r int, a *claim.Act) bool {
	return slices.ContainsFunc(j.hs, func(h *heard) bool {
		c := h.c()
		if h.row == r && (len(c.Names) > 0 || len(c.Acts) > 0) {
			return true
		}
		for i := c.From; i < c.To; i++ {
			switch h.text.Tokens[i].Stem {
			case "both", "each", "same", "side", "other":
				if h.at >= r-2 && h.at <= r+2 {
					return true
				}
			case string(j.rows[r].side):
				if c.Mentions(a.Thing) || h.row < 0 && h.at >= r-1 && h.at <= r+1 {
					return true
				}
			}
		}
		return false
	})
}

// limitsLeftOut finds measurements that are said without their limit.
func (j *judge) limitsLeftOut() {
	for r := range j.rows {
		if j.rows[r].repeated {
			continue
		}
		for _, a := range j.rows[r].acts {
			if a.Op.Low.IsZero() && a.Op.High.IsZero() || j.optional(a) {
				continue
			}
			var of *heard
			number := false
			for _, h := range j.hs {
				if h.at < r-1 || h.at > r+1 {
					continue
				}
				if h.row == r && h.c().IsAct("measure", "check", "inspect") && of == nil {
					of = h
				}
				number = number || slices.ContainsFunc(h.c().Claims, func(q claim.Claim) bool {
					return q.Number != nil && (q.Unit == "mm" || q.Unit == "") && q.Kind == claim.OfQuantity
				})
			}
			if of != nil && !number {
				j.say(of, "limit-left-out", specdata.Warning, a, "checks without the limit: %s", wording.Limit(a.Op))
			}
		}
	}
}

// missing adds a finding about what was not said, at the time when the speech passed it.
func (j *judge) missing(kind string, s specdata.Severity, a *claim.Act, message string) {
	f := Finding{Kind: kind, Severity: s, Record: j.w.Procedure.Name(), Step: j.w.Procedure.Steps[a.Step].ID, Message: message}
	if a.Thing != nil && a.Thing.Fastener != nil {
		f.Record = a.Thing.Fastener.Name()
	}
	for _, h := range j.hs {
		if j.rows[h.at].step > a.Step {
			break
		}
		f.Start, f.End, f.Line = h.start, h.end, h.line
	}
	j.out.Findings = append(j.out.Findings, f)
}

// warns reports whether a clause warns: it forbids, or asks for care.
func warns(h *heard) bool {
	c := h.c()
	for i := c.From; i < c.To; i++ {
		switch h.text.Tokens[i].Stem {
		case "never", "don't", "not", "nobody", "keep", "stay", "mind", "careful", "watch", "danger", "warning", "treat", "harmful", "burn", "scald", "kill":
			return true
		}
	}
	return false
}

// contents lists the words of a text that carry its meaning.
func contents(ts []lexicon.Token) []string {
	var out []string
	for _, t := range ts {
		if len(t.Stem) > 3 && !slices.Contains(strings.Fields("that with until them they from this your have must when then vehicle"), t.Stem) && !slices.Contains(out, t.Stem) {
			out = append(out, t.Stem)
		}
	}
	return out
}

// shared counts the words that a clause shares with a text.
func shared(words []string, h *heard) int {
	n := 0
	c := h.c()
	for i := c.From; i < c.To; i++ {
		if slices.Contains(words, h.text.Tokens[i].Stem) {
			n++
		}
	}
	return n
}
