package narration

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
)

// hazardWords are the words by which a caution about a hazard is known in speech.
var hazardWords = map[string][]string{
	"crushing":       strings.Fields("crush fall under jack stand"),
	"brake-dust":     strings.Fields("dust blow lung mask breathe"),
	"hot-fluid":      strings.Fields("hot scald burn boiling skin cold hiss"),
	"hot-surface":    strings.Fields("hot burn cold"),
	"exhaust-gas":    strings.Fields("extraction monoxide fume gas ventilate ventilation poison"),
	"moving-parts":   strings.Fields("finger sleeve hair belt clear fan"),
	"pressure":       strings.Fields("pressure hiss spray burst valve"),
	"electric-shock": strings.Fields("shock voltage"),
	"airbag":         strings.Fields("airbag bag wait"),
	"fire":           strings.Fields("fire flame smoke spark spray light"),
	"spring":         strings.Fields("spring finger eye face fly clamp kill"),
	"chemical":       strings.Fields("skin glove eye fume harmful"),
	"cut":            strings.Fields("cut sharp glove edge"),
}

// lateCautions finds cautions that are said only when the step with the hazard is over.
func (j *judge) lateCautions() {
	for i := range j.w.Procedure.Steps {
		for k := range j.w.Procedure.Steps[i].Cautions {
			c := &j.w.Procedure.Steps[i].Cautions[k]
			first := j.firstWarning(c)
			begun := j.firstOf(i)
			if first == nil || begun == nil || first.start <= begun.start || first.at < 0 || j.rows[first.at].step <= i {
				continue
			}
			if first.row >= 0 && j.stepWarns(j.rows[first.row].step, c.Hazard) { // it belongs to a later step too
				continue
			}
			j.say(first, "late-caution", specdata.Warning, nil, "warns after the hazard, which begins with step \"%s\": %s", j.w.Procedure.Steps[i].ID, c.Text)
		}
	}
	j.lateExtraction()
}

// stepWarns reports whether a step has a caution about a hazard.
func (j *judge) stepWarns(step int, hazard string) bool {
	return slices.ContainsFunc(j.w.Procedure.Steps[step].Cautions, func(c specdata.Caution) bool { return c.Hazard == hazard })
}

// firstWarning returns the first clause that says a caution, nil where none does.
func (j *judge) firstWarning(c *specdata.Caution) *heard {
	words := contents(j.lex.Tokens(c.Text))
	for _, h := range j.hs {
		if !warns(h) {
			continue
		}
		n := shared(words, h)
		if n >= 3 {
			return h
		}
		if n >= 1 && slices.ContainsFunc(h.tokens(), func(t token) bool { return slices.Contains(hazardWords[c.Hazard], t.Stem) }) {
			return h
		}
	}
	return nil
}

// firstOf returns the first clause that is aligned with a step, nil where none is.
func (j *judge) firstOf(step int) *heard {
	for _, h := range j.hs {
		if h.row >= 0 && j.rows[h.row].step == step {
			return h
		}
	}
	return nil
}

// lateExtraction finds an engine that is started before the exhaust gas is led away,
// where a note of the step asks for that.
func (j *judge) lateExtraction() {
	for r := range j.rows {
		i := slices.IndexFunc(j.rows[r].acts, func(a *claim.Act) bool {
			return a.Op.Do == specdata.RunEngine && specdata.HasWord(a.Op.Note, "extraction")
		})
		if i < 0 {
			continue
		}
		var led, ran *heard
		for _, h := range j.hs {
			if h.at < r-1 || h.at > r+1 {
				continue
			}
			for _, t := range h.tokens() {
				if slices.Contains([]string{"extraction", "extractor", "ventilation", "monoxide", "fume"}, t.Stem) && led == nil {
					led = h
				}
			}
			if ran == nil && !warns(h) && startsEngine(h) {
				ran = h
			}
		}
		if led != nil && ran != nil && led.start > ran.start {
			j.say(led, "late-caution", specdata.Error, j.rows[r].acts[i], "leads the exhaust gas away after the engine was started; it comes first")
		}
	}
}

// startsEngine reports whether a clause starts the engine: "start it", "fire it up".
func startsEngine(h *heard) bool {
	ts := h.tokens()
	for i, t := range ts {
		next := ""
		if i+1 < len(ts) {
			next = ts[i+1].Stem
		}
		switch t.Stem {
		case "start", "started", "starting", "fire", "crank", "run":
			if i > 0 && (ts[i-1].Stem == "before" || ts[i-1].Stem == "you") {
				return false
			}
			if next == "it" || next == "her" || next == "up" || next == "the" && i+2 < len(ts) && ts[i+2].Stem == "engine" {
				return true
			}
		}
	}
	return false
}
