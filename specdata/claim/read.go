package claim

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/lexicon"
)

// Kind is a sort of claim.
type Kind string

// The sorts of claims.
const (
	OfAct      Kind = "act"
	OfSide     Kind = "side"
	OfEnd      Kind = "end"
	OfPlace    Kind = "place"
	OfCount    Kind = "count"
	OfTurning  Kind = "turning"
	OfHand     Kind = "hand"
	OfFacing   Kind = "facing"
	OfPattern  Kind = "pattern"
	OfQuantity Kind = "quantity"
	OfSize     Kind = "size"
	OfTool     Kind = "tool"
	OfManner   Kind = "manner"
	OfNewness  Kind = "newness"
	OfState    Kind = "state"
	OfSurface  Kind = "surface"
	OfTimes    Kind = "times"
	OfReverse  Kind = "reverse"
	OfProduct  Kind = "product"
	OfBrake    Kind = "brake"
	OfKeeping  Kind = "keeping"
)

// Claim is what one phrase asserts.
type Claim struct {
	Kind Kind
	// Value is the reading in the words of the records ("left", "star", "new").
	Value string
	// Unit and Number are of quantities, sizes, counts and times; Unit of a count is "".
	Unit   string
	Number *Number
	// Denied says that the phrase forbids it: "never with a power tool".
	Denied bool
	// From and To are the tokens of the phrase.
	From, To int
}

// Clause is a part of a sentence with the acts and things it is about.
type Clause struct {
	From, To int
	// Acts are the classes of the verbs, each with every reading.
	Acts []string
	// Denied says that the clause forbids the act: "do not", "never".
	Denied bool
	// Unless says that a denial has a condition ("until", "with", "more than"), so that it
	// does not forbid the act itself.
	Unless bool
	// Later and Past say that the clause looks ahead or back.
	Later, Past bool
	Names       []Named
	Claims      []Claim
	// It says that the clause mentions "it" or "them".
	It bool
}

// Text is a sentence, or several, taken apart.
type Text struct {
	Text    string
	Tokens  []lexicon.Token
	Clauses []Clause
}

// Span returns the bytes of some tokens.
func (t *Text) Span(from, to int) (start, end int) {
	return t.Tokens[from].Start, t.Tokens[to-1].End
}

// Said returns the words of some tokens as they are.
func (t *Text) Said(from, to int) string {
	start, end := t.Span(from, to)
	return t.Text[start:end]
}

// Read takes a text apart.
func (w *World) Read(text string) *Text {
	return w.ReadTokens(text, w.lex.Tokens(text))
}

// ReadTokens takes the tokens of a text apart.
func (w *World) ReadTokens(text string, ts []lexicon.Token) *Text {
	t := &Text{Text: text, Tokens: ts}
	if len(ts) == 0 {
		return t
	}
	all := acts(ts)
	names := w.names(ts)
	// A verb inside a name is no verb: "drain plug", "stake".
	all = slices.DeleteFunc(all, func(as []act) bool {
		return slices.ContainsFunc(names, func(n Named) bool {
			return n.From <= as[0].at && as[0].at < n.To && n.To-n.From > 1 && !n.Weak
		})
	})
	t.cut(all, names)
	claims := w.claims(ts, names)
	for i := range t.Clauses {
		c := &t.Clauses[i]
		for _, n := range names {
			if c.From <= n.From && n.From < c.To {
				c.Names = append(c.Names, n)
			}
		}
		for _, q := range claims {
			if c.From <= q.From && q.From < c.To {
				c.Claims = append(c.Claims, q)
			}
		}
		c.modes(ts)
		c.particles(ts)
	}
	t.carry()
	return t
}

// carry takes a state of the vehicle on to the tightening that follows in the same
// sentence: "with the suspension hanging, hold the nut and tighten it".
func (t *Text) carry() {
	for i := 0; i+1 < len(t.Clauses); i++ {
		c, next := &t.Clauses[i], &t.Clauses[i+1]
		if c.tightens() || c.IsAct("tighten") || c.Denied || c.Later || !next.tightens() && !next.IsAct("tighten") || strings.ContainsAny(t.Tokens[next.From].Before, ".;!?") {
			continue
		}
		for _, q := range c.Claims {
			if q.Kind == OfState {
				next.Claims = append(next.Claims, q)
			}
		}
	}
}

// particles finds the act of a clause without a verb: "wheel nuts off", "new hub on".
func (c *Clause) particles(ts []lexicon.Token) {
	if len(c.Acts) > 0 || len(c.Names) == 0 {
		return
	}
	for i := c.From; i < c.To; i++ {
		if i > 0 && slices.Contains([]string{"facing", "face", "side", "pointing", "point"}, ts[i-1].Stem) {
			continue // "collar facing out"
		}
		switch ts[i].Stem {
		case "out", "off":
			c.Acts = append(c.Acts, "remove")
		case "bin", "scrap", "garbage":
			c.Acts = append(c.Acts, "discard")
		case "on", "in", "back", "home":
			if i+1 == c.To || !joined(ts[i+1]) || i > c.From && (ts[i+1].Stem == "with" || ts[i+1].Stem == "by") {
				c.Acts = append(c.Acts, "fit")
			}
		}
	}
}

var breaks = []string{"and", "then", "while", "before", "until", "but", "so", "when", "after", "once", "because", "which", "if", "that", "for", "now", "plus"}

// articles are words that follow an imperative.
var articles = []string{"the", "a", "all", "both", "its", "their", "new", "each", "them", "it"}

// cut parts a text into clauses: at marks and joining words, so that each has one verb.
func (t *Text) cut(all [][]act, names []Named) {
	ts := t.Tokens
	verb := map[int][]act{}
	for _, as := range all {
		verb[as[0].at] = as
	}
	inName := func(i int) bool {
		return slices.ContainsFunc(names, func(n Named) bool { return n.From < i && i < n.To })
	}
	named := func(from, to int) bool {
		return slices.ContainsFunc(names, func(n Named) bool { return from <= n.From && n.From < to })
	}
	start, hasVerb := 0, false
	var acts []string
	flush := func(to int) {
		if to > start {
			t.Clauses = append(t.Clauses, Clause{From: start, To: to, Acts: acts})
		}
		start, hasVerb, acts = to, false, nil
	}
	for i := range ts {
		hard := i > 0 && strings.ContainsAny(ts[i].Before, ".;!?:—–") && !strings.HasPrefix(ts[i].Before, "·")
		comma := i > 0 && strings.ContainsAny(ts[i].Before, ",()")
		joins := slices.Contains(breaks, ts[i].Stem)
		switch {
		case inName(i):
		case i > 0 && ts[i].Stem == "and" && (ts[i-1].Stem == "hundred" || ts[i-1].Stem == "thousand"): // within a number
		case ts[i].Stem == "and" && rangeAt(ts, i): // "between twenty and thirty"
		case hard:
			flush(i)
		case comma && !hasVerb && !named(start, i): // "On the ground, torque …" is one clause
		case (comma || joins) && (hasVerb || nextVerb(ts, verb, i)):
			flush(i)
		case verb[i] != nil && hasVerb && i > start:
			flush(i)
		case verb[i] != nil && i-start >= 3 && i+1 < len(ts) && joined(ts[i]) && slices.Contains(articles, ts[i+1].Stem):
			flush(i) // speech without marks: "to thirty newton metres oil the seal"
		}
		if as := verb[i]; as != nil {
			for _, a := range as {
				acts = append(acts, a.class)
			}
			hasVerb = true
		}
	}
	flush(len(ts))
}

// rangeAt reports whether "and" joins the ends of a range: "between twenty and thirty".
func rangeAt(ts []lexicon.Token, i int) bool {
	if i+1 >= len(ts) {
		return false
	}
	if _, ok := numberAt(ts, i+1); !ok {
		return false
	}
	for k := i - 1; k >= 0 && k >= i-8; k-- {
		if ts[k].Stem == "between" {
			return true
		}
		if strings.ContainsAny(ts[k+1].Before, ".;:!?") {
			return false
		}
	}
	return false
}

// nextVerb reports whether a verb comes in the next few words, before any mark.
func nextVerb(ts []lexicon.Token, verb map[int][]act, i int) bool {
	for j := i; j < len(ts) && j <= i+3; j++ {
		if j > i && strings.ContainsAny(ts[j].Before, ",.;:!?()") {
			return false
		}
		if verb[j] != nil {
			return true
		}
	}
	return false
}

var (
	denials   = []string{"never", "not", "don't", "doesn't", "without", "won't", "mustn't", "no", "nor", "can't", "cannot", "avoid", "rather", "instead"}
	unlesses  = []string{"yet", "fully", "until", "till", "before", "more", "over", "beyond", "by", "with", "any", "too", "unless", "further", "now", "on", "in", "from", "all", "completely", "still", "if", "just", "past", "again", "only", "let"}
	laterSays = []string{"later", "afterwards", "eventually"}
	pronouns  = []string{"it", "them", "they", "both", "these", "those", "one", "that", "this"}
)

// modes finds whether a clause forbids, and whether it looks ahead or back.
func (c *Clause) modes(ts []lexicon.Token) {
	for i := c.From; i < c.To; i++ {
		w := ts[i].Stem
		switch {
		case slices.Contains(denials, w) && !(w == "not" && i > 0 && ts[i-1].Stem == "if") && !(w == "no" && i+1 < c.To && (ts[i+1].Stem == "more" || ts[i+1].Stem == "problem")):
			c.Denied = true
		case slices.Contains(unlesses, w):
			c.Unless = true
		case slices.Contains(laterSays, w), strings.HasSuffix(w, "'ll"), w == "will" && i > c.From:
			c.Later = true
		case w == "last" && i+1 < c.To && ts[i+1].Stem == "time", w == "earlier", w == "remember":
			c.Past = true
		}
		if slices.Contains(pronouns, w) {
			c.It = true
		}
	}
}

// IsAct reports whether a clause names one of some acts.
func (c *Clause) IsAct(classes ...string) bool {
	return slices.ContainsFunc(c.Acts, func(a string) bool { return slices.Contains(classes, a) })
}

// Verbs lists the operations that the acts of a clause may be.
func (c *Clause) Verbs() []specdata.Verb {
	var out []specdata.Verb
	for _, a := range c.Acts {
		out = append(out, does[a]...)
	}
	return out
}
