// Package oneword changes the sentences of a library one word at a time: every side,
// end, place, count, amount, order, facing, turning, manner, newness and negation word.
// An oracle that knows the acts, and nothing of how rules read sentences, says which of
// the changes contradict what the records hold.
package oneword

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Change is one sentence with one word changed.
type Change struct {
	Procedure string
	Step      int
	// Kind is the sort of word: side, end, place, count, amount, order, facing, turning,
	// manner, newness, negation.
	Kind     string
	From, To string
	Text     string
	// Contradicts says that the records hold what was said before and not what is said now.
	Contradicts bool
}

// swap is one word that becomes another.
type swap struct {
	kind     string
	from, to string
}

var swaps = []swap{
	{"side", "left", "right"}, {"side", "right", "left"},
	{"end", "front", "rear"}, {"end", "rear", "front"},
	{"place", "upper", "lower"}, {"place", "lower", "upper"},
	{"turning", "clockwise", "anticlockwise"}, {"turning", "anticlockwise", "clockwise"},
	{"amount", "half a turn", "two turns"}, {"amount", "a quarter turn", "two turns"},
	{"count", "two", "three"}, {"count", "six", "five"}, {"count", "ten", "eight"}, {"count", "four", "three"}, {"count", "one", "two"}, {"count", "three", "two"},
	{"order", "star", "circle"}, {"order", "cross", "circle"}, {"order", "circle", "cross"}, {"order", "numbered order", "a circle"},
	{"order", "from the centre outwards", "in a circle"}, {"order", "from the ends inwards", "from the centre outwards"},
	{"facing", "towards", "away from"}, {"facing", "outwards", "inwards"}, {"facing", "inwards", "outwards"}, {"facing", "upwards", "downwards"},
	{"manner", "by hand", "with the impact wrench"},
	{"newness", "new", "old"},
}

// Changes lists every change of a procedure's sentences.
func Changes(l library.Library, p *specdata.Procedure) []Change {
	var out []Change
	for i := range p.Steps {
		s := &p.Steps[i]
		o := newOracle(l, p, i)
		for _, w := range swaps {
			for _, at := range regexp.MustCompile(`(?i)\b`+regexp.QuoteMeta(w.from)+`\b`).FindAllStringIndex(s.Text, -1) {
				if inPlaceholder(s.Text, at[0]) || w.kind == "place" && at[0] == 0 {
					continue
				}
				text := s.Text[:at[0]] + w.to + s.Text[at[1]:]
				out = append(out, Change{p.ID, i, w.kind, w.from, w.to, text, o.contradicts(w, s.Text, at[0])})
			}
		}
		if s.Text != "" && len(s.Operations) > 0 {
			out = append(out, Change{p.ID, i, "negation", "", "Do not", "Do not " + specdata.InSentence(s.Text), o.negated(s.Text)})
		}
	}
	return out
}

func inPlaceholder(text string, at int) bool {
	open := strings.LastIndexByte(text[:at], '{')
	return open >= 0 && !strings.Contains(text[open:at], "}")
}

// oracle knows what the records hold about one step.
type oracle struct {
	p      *specdata.Procedure
	s      *specdata.Step
	things []*specdata.Fastener
	// data are the texts of the records: titles, ids, notes, criteria, fittings.
	data  string
	raise string
	end   string
}

func newOracle(l library.Library, p *specdata.Procedure, step int) *oracle {
	o := &oracle{p: p, s: &p.Steps[step]}
	var texts []string
	for i := range o.s.Operations {
		op := &o.s.Operations[i]
		_, id := op.Target.Split()
		texts = append(texts, strings.ReplaceAll(id, "-", " "), op.Note, op.Accept)
		if f := library.Fastener(l, id); f != nil {
			o.things = append(o.things, f)
			texts = append(texts, f.Title)
			if f.Fitting != nil {
				texts = append(texts, f.Fitting.Direction, f.Fitting.Washers)
			}
		}
	}
	for _, id := range p.Assemblies {
		if a := library.Assembly(l, id); a != nil {
			o.end = a.End
			for i := range a.Parts {
				for j := range o.s.Operations {
					if o.s.Operations[j].Target == specdata.Target("part:"+a.Parts[i].ID) {
						texts = append(texts, a.Parts[i].Title)
					}
				}
			}
		}
	}
	raised := map[string]bool{}
	for i := range p.Steps {
		for j := range p.Steps[i].Operations {
			if op := &p.Steps[i].Operations[j]; op.Do == specdata.Raise {
				_, id := op.Target.Split()
				raised[id] = true
				o.raise = id
			}
		}
	}
	if len(raised) > 1 {
		o.raise, o.end = "", ""
	}
	o.data = strings.ToLower(strings.Join(texts, "; "))
	return o
}

func (o *oracle) has(word string) bool {
	return regexp.MustCompile(`\b` + regexp.QuoteMeta(word) + `\b`).MatchString(o.data)
}

func (o *oracle) does(verbs ...specdata.Verb) bool {
	return slices.ContainsFunc(o.s.Operations, func(op specdata.Operation) bool { return slices.Contains(verbs, op.Do) })
}

func (o *oracle) contradicts(w swap, text string, at int) bool {
	switch w.kind {
	case "side":
		return o.sided(w.from) && !o.sided(w.to)
	case "end":
		return o.ended(w.from) && !o.ended(w.to)
	case "place":
		return o.has(w.from) && !o.has(w.to)
	case "turning":
		return slices.ContainsFunc(o.things, func(f *specdata.Fastener) bool { return f.Thread != nil })
	case "amount":
		return slices.ContainsFunc(o.s.Operations, func(op specdata.Operation) bool { return !op.By.IsZero() }) || o.has(w.from)
	case "count":
		return o.counted(w.from, text[at:])
	case "order":
		return slices.ContainsFunc(o.things, func(f *specdata.Fastener) bool { return o.ordered(f, w) })
	case "facing":
		return o.has(w.from) && !strings.Contains(text[:at], "centre ") && !strings.Contains(text[:at], "ends ")
	case "manner":
		return o.does(specdata.Start, specdata.Snug)
	case "newness":
		return slices.ContainsFunc(o.s.Operations, func(op specdata.Operation) bool { return op.New })
	}
	return false
}

func (o *oracle) sided(word string) bool {
	s := specdata.Side(word)
	return o.s.Side == s || o.s.Repeat != nil && o.s.Repeat.Side == s || o.has(word) ||
		slices.ContainsFunc(o.s.Operations, func(op specdata.Operation) bool { return op.Side == s }) ||
		slices.ContainsFunc(o.things, func(f *specdata.Fastener) bool { return f.Thread != nil && f.Thread.Hand == word && word == "left" })
}

func (o *oracle) ended(word string) bool {
	if o.has(word) {
		return true
	}
	if o.does(specdata.Secure) {
		return o.raise != "" && o.raise != word
	}
	wheel := slices.ContainsFunc(o.things, func(f *specdata.Fastener) bool { return f.Joint == specdata.JointWheel })
	return wheel && o.end == word
}

var small = []string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}

func (o *oracle) counted(word, rest string) bool {
	n := slices.Index(small, word)
	if o.has(word) {
		return true
	}
	if strings.HasPrefix(rest, word+" round") {
		return slices.ContainsFunc(o.things, func(f *specdata.Fastener) bool {
			return f.Tightening.Pattern != nil && f.Tightening.Pattern.Passes == n && o.does(specdata.Tighten)
		})
	}
	if stage := regexp.MustCompile(`^(one|two|three|four) of|^(one|two|three|four)\.`).FindString(rest); stage != "" && o.does(specdata.StageVerb, specdata.Turn) {
		return true
	}
	counted := regexp.MustCompile(`^`+word+` (?:new )?(?:\w+ ){0,2}(?:bolts|nuts|screws)`).MatchString(rest) || regexp.MustCompile(`^`+word+` (?:nuts|in|bolts)`).MatchString(rest)
	return counted && slices.ContainsFunc(o.things, func(f *specdata.Fastener) bool { return f.Count == n })
}

func (o *oracle) ordered(f *specdata.Fastener, w swap) bool {
	p := f.Tightening.Pattern
	if p == nil {
		return false
	}
	if !o.does(specdata.Tighten, specdata.StageVerb, specdata.Turn, specdata.Snug, specdata.Start) {
		return w.from == "from the ends inwards" && p.Loosen == "reverse" && p.Order == "centre-out"
	}
	family := map[string]string{"star": "cross", "cross": "cross", "circle": "circle", "numbered order": "sequence", "from the centre outwards": "centre-out"}
	own := map[string]string{"star": "cross", "cross": "cross", "circle": "circle", "sequence": "sequence", "centre-out": "centre-out"}[p.Order]
	return own != "" && own == family[w.from]
}

// first says what operations a sentence's first word is, where that is beyond doubt.
var first = map[string][]specdata.Verb{
	"tighten": {specdata.Tighten, specdata.StageVerb, specdata.Turn}, "turn": {specdata.Turn}, "remove": {specdata.Remove}, "fit": {specdata.Fit}, "slacken": {specdata.Slacken},
	"loosen": {specdata.Remove, specdata.Slacken}, "raise": {specdata.Raise}, "lower": {specdata.Lower}, "check": {specdata.Check}, "inspect": {specdata.Inspect}, "clean": {specdata.Clean},
	"discard": {specdata.Discard}, "start": {specdata.Start}, "connect": {specdata.Connect}, "disconnect": {specdata.Disconnect}, "unclip": {specdata.Unclip}, "drain": {specdata.Drain},
	"fill": {specdata.Fill}, "bleed": {specdata.Bleed}, "pump": {specdata.Pump}, "record": {specdata.RecordJob}, "advise": {specdata.Advise}, "measure": {specdata.Measure}, "chock": {specdata.Secure},
	"snug": {specdata.Snug}, "stake": {specdata.LockVerb}, "unhook": {specdata.Unhang, specdata.Disconnect}, "drive": {specdata.RoadTest},
}

func (o *oracle) negated(text string) bool {
	word, _, _ := strings.Cut(strings.ToLower(text), " ")
	return o.does(first[strings.Trim(word, ",.")]...)
}

// Rewrite is a harmless rewrite of a sentence.
type Rewrite struct {
	Procedure, Step, Text string
	Line                  int
}

// ParseRewrites reads a file of rewrites.
func ParseRewrites(data string) ([]Rewrite, error) {
	var out []Rewrite
	for i, line := range strings.Split(data, "\n") {
		if line = strings.TrimSpace(line); line == "" || line[0] == '#' {
			continue
		}
		where, text, ok := strings.Cut(line, " | ")
		procedure, step, ok2 := strings.Cut(where, "/")
		if !ok || !ok2 {
			return nil, strconv.ErrSyntax
		}
		out = append(out, Rewrite{procedure, step, text, i + 1})
	}
	return out, nil
}

var placeholder = regexp.MustCompile(`\{[^}]*\}`)

// For fills the placeholders of the original into a rewrite.
func (r *Rewrite) For(original string) string {
	text := r.Text
	for i, p := range placeholder.FindAllString(original, -1) {
		text = strings.ReplaceAll(text, "$"+strconv.Itoa(i+1), p)
	}
	return text
}
