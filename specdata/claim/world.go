// Package claim finds what a sentence claims (acts, things, sides, counts, values,
// states) and holds it against what the acts of a procedure do. Every plausible reading
// of a phrase is kept; a contradiction is reported only if all readings disagree with
// data that exists. Silence is right where the referent is unclear.
package claim

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

// World is what the words about a procedure can mean: its things, and its acts in order.
type World struct {
	Procedure *specdata.Procedure
	// Acts are the operations in the order they are done, repeats unrolled.
	Acts   []*Act
	Things []*Thing

	lex      *lexicon.Lexicon
	byTarget map[specdata.Target]*Thing
	// vocabulary holds the words of all titles.
	vocabulary map[string]bool
	// shorthand holds what single words of speech are short for in this procedure.
	shorthand map[string][]string
	// raised is the one end that the procedure raises, "" for none or both.
	raised string
	// side is the side that the reader picked, "" for none.
	side specdata.Side
}

// Act is one operation with what is known about it.
type Act struct {
	// Step is the index of the step it stands in, Repeated says that a later step runs it again.
	Step     int
	Repeated bool
	Op       *specdata.Operation
	Thing    *Thing
	Side     specdata.Side
}

// Thing is something that a phrase can name.
type Thing struct {
	Target   specdata.Target
	Title    string
	Fastener *specdata.Fastener
	// End is front or rear where the data say so.
	End string
	// words are those of the title in one spelling, heads the last ones of its parts.
	words, heads []string
}

// New makes the world of a procedure. side is the side that the reader picked, "" for none.
func New(p *specdata.Procedure, l library.Library, lex *lexicon.Lexicon, side specdata.Side) *World {
	w := &World{Procedure: p, lex: lex, byTarget: map[specdata.Target]*Thing{}, vocabulary: map[string]bool{}, side: side}
	for _, id := range p.Assemblies {
		a := library.Assembly(l, id)
		if a == nil {
			continue
		}
		titles := map[string]string{}
		for i := range a.Parts {
			titles["part:"+a.Parts[i].ID] = a.Parts[i].Title
		}
		for i := range a.Joints {
			titles["joint:"+a.Joints[i].ID] = a.Joints[i].Title
		}
		for i := range a.Connections {
			titles["connection:"+a.Connections[i].ID] = a.Connections[i].Title
		}
		for i := range a.Clips {
			titles["clip:"+a.Clips[i].ID] = a.Clips[i].Title
		}
		for i := range a.Circuits {
			titles["circuit:"+a.Circuits[i].ID] = a.Circuits[i].Title
		}
		for typ, id := range a.Things() {
			w.thing(specdata.Target(typ+":"+id), titles[typ+":"+id], nil, a.End)
		}
		for _, ids := range a.HeldBy() {
			for _, id := range ids {
				w.fastener(l, id, a.End)
			}
		}
	}
	w.acts(l)
	w.shorten()
	return w
}

func (w *World) fastener(l library.Library, id, end string) {
	f := library.Fastener(l, id)
	if f == nil {
		return
	}
	for _, e := range []string{"front", "rear"} {
		if specdata.HasWord(f.Place, e) || specdata.HasWord(f.Title, e) && end == "" {
			end = e
		}
	}
	w.thing(specdata.Target("fastener:"+id), f.Title, f, end)
}

func (w *World) thing(target specdata.Target, title string, f *specdata.Fastener, end string) *Thing {
	if t := w.byTarget[target]; t != nil {
		return t
	}
	_, id := target.Split()
	if title == "" {
		title = strings.ReplaceAll(id, "-", " ")
	}
	t := &Thing{Target: target, Title: title, Fastener: f, End: end}
	for part := range strings.SplitSeq(title, " with ") {
		for part := range strings.SplitSeq(part, " and ") {
			ts := w.lex.Tokens(part)
			ws := w.canon(ts)
			for _, tok := range ts { // in its own words too
				ws = slices.Insert(ws, 0, cword{word: tok.Stem})
			}
			for i, c := range ws {
				t.add(w, c.word)
				if i == len(ws)-1 {
					t.heads = append(t.heads, c.word, ts[len(ts)-1].Stem)
				}
			}
		}
	}
	if f == nil { // the id often names it shorter
		for _, c := range w.canon(w.lex.Tokens(strings.ReplaceAll(id, "-", " "))) {
			t.add(w, c.word)
		}
	}
	if f != nil && f.Drive != nil && f.Drive.Turn == "nut" && f.Drive.Head != "" {
		t.heads = append(t.heads, "nut", "bolt")
		t.add(w, "nut")
	}
	w.byTarget[target] = t
	w.Things = append(w.Things, t)
	return t
}

func (t *Thing) add(w *World, word string) {
	if slices.Contains([]string{"and", "of", "to", "with", "the", "in", "on", "at", "or", "off", "new", "old"}, word) {
		return
	}
	w.vocabulary[word] = true
	if !slices.Contains(t.words, word) {
		t.words = append(t.words, word)
	}
}

// acts lists the operations in order, repeats unrolled.
func (w *World) acts(l library.Library) {
	p := w.Procedure
	index := map[string]int{}
	ends := map[string]bool{}
	run := func(step int, side specdata.Side, repeated bool) {
		s := &p.Steps[step]
		for i := range s.Operations {
			op := &s.Operations[i]
			typ, id := op.Target.Split()
			if typ == "fastener" {
				w.fastener(l, id, "")
			}
			a := &Act{Step: step, Op: op, Side: op.Side, Repeated: repeated, Thing: w.thing(op.Target, "", nil, "")}
			if a.Side == "" {
				a.Side = s.Side
			}
			if side != "" {
				a.Side = side
			}
			if a.Side == "" && p.Sides == "one" {
				a.Side = w.side
			}
			if op.Do == specdata.Raise && typ == "end" {
				ends[id] = true
			}
			w.Acts = append(w.Acts, a)
		}
	}
	for i := range p.Steps {
		s := &p.Steps[i]
		index[s.ID] = i
		run(i, "", false)
		if s.Repeat == nil {
			continue
		}
		from, ok1 := index[s.Repeat.From]
		to, ok2 := index[s.Repeat.To]
		for j := from; ok1 && ok2 && j <= to && j < i; j++ {
			run(j, s.Repeat.Side, true)
		}
	}
	if len(ends) == 1 {
		for e := range ends {
			w.raised = e
		}
	}
}

// StepActs lists the acts of a step as written, without repeats.
func (w *World) StepActs(step int) []*Act {
	var out []*Act
	for _, a := range w.Acts {
		if a.Step == step && !a.Repeated {
			out = append(out, a)
		}
	}
	return out
}

// cword is a word of a text in the one spelling that titles are kept in, with the tokens
// it stands for: "lug nuts" is "wheel" and "nut", both of the tokens of "lug nuts".
type cword struct {
	word     string
	from, to int
}

// canon puts tokens into the spelling of the lexicon's first words.
func (w *World) canon(ts []lexicon.Token) []cword {
	var out []cword
	ms := w.lex.Longest(ts)
	for i := 0; i < len(ts); {
		k := slices.IndexFunc(ms, func(m lexicon.Match) bool {
			return m.From == i && (m.Concept.Kind == lexicon.Thing)
		})
		if k < 0 {
			for _, word := range w.short(ts[i].Stem) {
				out = append(out, cword{word, i, i + 1})
			}
			i++
			continue
		}
		m := ms[k]
		if m.To == i+1 && !w.vocabulary[ts[i].Stem] && w.shorthand[ts[i].Stem] != nil {
			for _, word := range w.shorthand[ts[i].Stem] {
				out = append(out, cword{word, i, i + 1})
			}
			i++
			continue
		}
		for _, t := range w.lex.Tokens(m.Concept.Words[0].Text) {
			out = append(out, cword{t.Stem, m.From, m.To})
		}
		i = m.To
	}
	return out
}

// short returns the words for one word of speech: itself, or those of the thing that it is
// short for in this procedure, as "bracket" is for a caliper carrier where nothing else is
// called a bracket.
func (w *World) short(word string) []string {
	if w.shorthand == nil || w.vocabulary[word] {
		return []string{word}
	}
	if long := w.shorthand[word]; long != nil {
		return long
	}
	return []string{word}
}

// shorten finds the shorthands of the things of the procedure: the last word of each of
// the phrases that are said for one of them.
func (w *World) shorten() {
	short := map[string][]string{}
	for _, c := range w.lex.Concepts() {
		if c.Kind != lexicon.Thing {
			continue
		}
		var canon []string
		for _, t := range w.lex.Tokens(c.Words[0].Text) {
			canon = append(canon, t.Stem)
		}
		if slices.ContainsFunc(canon, func(x string) bool { return !w.vocabulary[x] }) {
			continue
		}
		for _, said := range c.Words[1:] {
			ts := w.lex.Tokens(said.Text)
			last := ts[len(ts)-1].Stem
			if len(ts) < 2 || len(last) < 4 || w.vocabulary[last] || w.concept(last) {
				continue
			}
			if old, twice := short[last]; twice && !slices.Equal(old, canon) {
				short[last] = nil // it may be either
				continue
			}
			short[last] = canon
		}
	}
	w.shorthand = short
}

// concept reports whether a word alone is said for a thing of its own.
func (w *World) concept(word string) bool {
	return len(w.lex.Matches(w.lex.Tokens(word))) > 0 && word != "bracket"
}

// places are the words that tell alike things apart.
var places = map[string]string{
	"front": "rear", "rear": "front", "left": "right", "right": "left", "upper": "lower", "lower": "upper", "top": "bottom", "bottom": "top",
	"inner": "outer", "outer": "inner",
}

// sameplace are other words for those.
var sameplace = map[string]string{"top": "upper", "bottom": "lower", "back": "rear", "nearside": "nearside", "offside": "offside"}

func place(word string) (string, bool) {
	if s, ok := sameplace[word]; ok {
		word = s
	}
	_, ok := places[word]
	return word, ok
}

// Named is a thing that a phrase names: every candidate, the likeliest first.
type Named struct {
	// From and To are the tokens of the phrase.
	From, To   int
	Candidates []*Thing
	// Places are the words in the phrase that tell alike things apart, which no candidate's
	// title has.
	Places []cword
	// Wrong are the places that every candidate contradicts: a title has the opposite.
	Wrong []cword
	// Weak says that the phrase is not the thing's own name but a word of it.
	Weak bool
	head string
}

// names finds the things that some tokens name.
func (w *World) names(ts []lexicon.Token) []Named {
	cs := w.canon(ts)
	var out []Named
	for i := 0; i < len(cs); {
		n, to := w.nameAt(ts, cs, i)
		if n == nil || pointsOut(ts, cs[i]) {
			i++
			continue
		}
		out = append(out, *n)
		i = to
	}
	return out
}

// pointsOut reports whether a word is the verb of "the cone faces outwards".
func pointsOut(ts []lexicon.Token, c cword) bool {
	return c.word == "face" && c.to < len(ts) && joined(ts[c.to]) && slices.Contains([]string{"up", "down", "in", "out", "inwards", "outwards", "upwards", "downwards", "forwards", "backwards", "away", "towards", "you"}, ts[c.to].Stem)
}

// nameAt reads the longest name that starts at a word, nil where none does.
func (w *World) nameAt(ts []lexicon.Token, cs []cword, i int) (*Named, int) {
	end := i
	for end < len(cs) && end < i+8 {
		if end > i && !joined(ts[cs[end].from]) && cs[end].from != cs[end-1].from {
			break
		}
		_, isPlace := place(cs[end].word)
		if !w.vocabulary[cs[end].word] && !isPlace {
			break
		}
		end++
	}
	for end > i { // "bracket back on" says nothing of the rear
		if _, isPlace := place(cs[end-1].word); !isPlace {
			break
		}
		end--
	}
	var weak *Named
	weakTo := i
	for to := end; to > i; to-- {
		if to < len(cs) && cs[to].from == cs[to-1].from { // within one phrase
			continue
		}
		n := w.match(ts, cs[i:to], nil)
		if n == nil {
			continue
		}
		if n.Weak { // a shorter phrase may be a thing's own name
			if weak == nil {
				weak, weakTo = n, to
			}
			continue
		}
		// "the nuts of the left wheel": more words behind "of".
		if more, rest := w.behindOf(ts, cs, to); rest > 0 {
			if m := w.match(ts, cs[i:to], more); m != nil && !m.Weak {
				m.To = cs[rest-1].to
				return m, rest
			}
		}
		return n, to
	}
	if weak == nil {
		return nil, i
	}
	if more, rest := w.behindOf(ts, cs, weakTo); rest > 0 {
		if m := w.match(ts, cs[i:weakTo], more); m != nil && !m.Weak {
			m.To = cs[rest-1].to
			return m, rest
		}
	}
	return weak, weakTo
}

// behindOf returns the words of a name that follows "of the", and the word behind them.
func (w *World) behindOf(ts []lexicon.Token, cs []cword, i int) ([]cword, int) {
	if i >= len(cs) || cs[i].word != "of" || ts[cs[i].from].Before != "" {
		return nil, 0
	}
	for i++; i < len(cs) && (slices.Contains([]string{"the", "both", "each", "either", "a", "its", "this", "that"}, cs[i].word)); i++ {
	}
	from := i
	for ; i < len(cs) && i < from+5; i++ {
		_, isPlace := place(cs[i].word)
		if !w.vocabulary[cs[i].word] && !isPlace && !(cs[i].word == "and" && i > from && i+1 < len(cs)) || i > from && !joined(ts[cs[i].from]) {
			break
		}
	}
	if i == from {
		return nil, 0
	}
	return cs[from:i], i
}

// match finds the things that have all words of a name, the words behind "of" too.
func (w *World) match(ts []lexicon.Token, name, more []cword) *Named {
	n := &Named{From: name[0].from, To: name[len(name)-1].to, head: name[len(name)-1].word}
	var words []string
	var said []cword
	for _, c := range append(slices.Clone(name), more...) {
		if p, ok := place(c.word); ok {
			said = append(said, cword{p, c.from, c.to})
		} else if c.word != "and" {
			words = append(words, c.word)
		}
	}
	if _, ok := place(n.head); ok || len(words) == 0 {
		return nil
	}
	best := 1 << 20
	for _, t := range w.Things {
		if slices.ContainsFunc(words, func(x string) bool { return !slices.Contains(t.words, x) }) {
			continue
		}
		weak := !slices.Contains(t.heads, n.head)
		extra := len(t.words) - len(words)
		if weak {
			extra += 100
		}
		for _, p := range said { // a title that has the place is nearer
			if slices.Contains(t.words, p.word) {
				extra -= 50
			} else if slices.Contains(t.words, places[p.word]) {
				extra += 50
			}
		}
		switch {
		case extra < best:
			best = extra
			n.Candidates = append([]*Thing{t}, n.Candidates...)
		default:
			n.Candidates = append(n.Candidates, t)
		}
	}
	if len(n.Candidates) == 0 {
		return nil
	}
	n.Weak = !slices.Contains(n.Candidates[0].heads, n.head)
	if !n.Weak { // names go before words of names
		n.Candidates = slices.DeleteFunc(n.Candidates, func(t *Thing) bool { return !slices.Contains(t.heads, n.head) })
	}
	for _, p := range said {
		has := func(t *Thing) bool { return slices.Contains(t.words, p.word) }
		opposite := func(t *Thing) bool { return slices.Contains(t.words, places[p.word]) }
		switch {
		case slices.ContainsFunc(n.Candidates, has):
			n.Candidates = slices.DeleteFunc(n.Candidates, func(t *Thing) bool { return opposite(t) && !has(t) })
		case slices.ContainsFunc(n.Candidates, opposite) && !slices.ContainsFunc(n.Candidates, func(t *Thing) bool { return !opposite(t) }):
			n.Wrong = append(n.Wrong, p)
		default:
			n.Places = append(n.Places, p)
		}
	}
	return n
}
