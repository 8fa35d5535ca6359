package claim

import (
	"math"
	"slices"
	"strings"

	"proofload/specdata/lexicon"
)

// claims finds every claim that is no act and no thing.
func (w *World) claims(ts []lexicon.Token, names []Named) []Claim {
	ms := w.lex.Longest(ts)
	var out []Claim
	add := func(k Kind, value string, from, to int) {
		out = append(out, Claim{Kind: k, Value: value, From: from, To: to, Denied: denied(ts, from)})
	}
	for _, m := range ms {
		id := m.Concept.ID
		named := slices.ContainsFunc(names, func(n Named) bool {
			return n.From <= m.From && m.To <= n.To && !slices.ContainsFunc(n.Places, func(p cword) bool { return p.from == m.From })
		})
		switch m.Concept.Kind {
		case lexicon.Direction:
			switch {
			case id == "left" || id == "right":
				if !named && !filler(ts, m) {
					add(OfSide, id, m.From, m.To)
				}
			case id == "front" || id == "rear":
				if facingHere(ts, m.From) {
					add(OfFacing, map[string]string{"front": "forwards", "rear": "backwards"}[id], m.From, m.To)
				} else if !named {
					add(OfEnd, id, m.From, m.To)
				}
			case id == "clockwise" || id == "anticlockwise":
				add(OfTurning, id, m.From, m.To)
			case id == "both-sides":
				add(OfSide, "both", m.From, m.To)
			case id == "nearside", id == "offside":
				// Which side that is depends on the market; never guessed.
			default:
				add(OfFacing, id, m.From, m.To)
			}
		case lexicon.Order:
			if !(id == "sequence" && stored(ts, m.From)) {
				add(OfPattern, id, m.From, m.To)
			}
		case lexicon.Newness:
			if !oldAndNew(ts, m) {
				add(OfNewness, id, m.From, m.To)
			}
		case lexicon.Tool:
			if id == "hand" {
				add(OfManner, "hand", m.From, m.To)
			} else if !(id == "impact-wrench" && ts[m.From].Stem == "gun" && m.From > 0 && ts[m.From-1].Stem == "grease") {
				add(OfTool, id, m.From, m.To)
			}
		case lexicon.State:
			switch id {
			case "dry", "oiled", "greased", "threadlocked", "precoated", "zinc-flake":
				add(OfSurface, id, m.From, m.To)
			default:
				add(OfState, id, m.From, m.To)
			}
		case lexicon.Product:
			switch id {
			case "threadlock", "grease", "anti-seize", "oil":
				add(OfSurface, map[string]string{"threadlock": "threadlocked", "grease": "greased", "anti-seize": "compound", "oil": "oiled"}[id], m.From, m.To)
			}
		}
	}
	for i := 0; i+2 < len(ts); i++ { // "the same bolts", not "the same order"
		if ts[i].Stem == "the" && ts[i+1].Stem == "same" {
			if k := nameBehind(ts, names, i+2); k >= 0 && isFastener(names[k]) {
				add(OfNewness, "reuse", i, i+2)
			}
		}
	}
	out = w.hands(ts, out)
	out = corrected(ts, w.numbers(ts, ms, names, out))
	slices.SortStableFunc(out, func(a, b Claim) int { return a.From - b.From })
	return out
}

// filler reports whether "right" only opens a sentence: "right, pump the pedal".
func filler(ts []lexicon.Token, m lexicon.Match) bool {
	if ts[m.From].Stem != "right" || m.To != m.From+1 || m.To >= len(ts) {
		return false
	}
	if m.From > 0 && ts[m.From].Before == "" {
		return false
	}
	next := ts[m.To]
	if slices.Contains([]string{"so", "then", "this", "that", "we", "i", "you", "let's", "now", "okay", "ok", "first", "next", "the", "guys", "folks", "lads", "here's", "there's", "it's", "what", "who"}, next.Stem) {
		return true
	}
	return len(inflected()[strings.ToLower(next.Text)]) > 0 && verbHere(ts, m.To)
}

// stored reports whether "in order" tells how things are laid by: "keep the followers in
// order", "number them in order".
func stored(ts []lexicon.Token, at int) bool {
	for i := at - 1; i >= 0 && i >= at-6; i-- {
		if strings.ContainsAny(ts[i+1].Before, ".;:!?") {
			return false
		}
		switch ts[i].Stem {
		case "keep", "lay", "laid", "store", "number", "mark", "bag", "kept", "label":
			return true
		}
	}
	return false
}

// oldAndNew reports whether a word of newness is one of a pair, "the old and the new
// disc", which compares them and claims nothing.
func oldAndNew(ts []lexicon.Token, m lexicon.Match) bool {
	other := func(i int) bool {
		return i >= 0 && i < len(ts) && (ts[i].Stem == "new" || ts[i].Stem == "old")
	}
	joins := func(i int) bool {
		return i >= 0 && i < len(ts) && (ts[i].Stem == "and" || ts[i].Stem == "or" || ts[i].Stem == "against" || ts[i].Stem == "with" || ts[i].Stem == "to")
	}
	return joins(m.To) && (other(m.To+1) || other(m.To+2) && ts[m.To+1].Stem == "the") ||
		joins(m.From-1) && other(m.From-2) || m.From > 1 && ts[m.From-1].Stem == "the" && joins(m.From-2) && other(m.From-3)
}

// corrected takes out the numbers that the speaker takes back: "fifty, sorry, sixty-two".
func corrected(ts []lexicon.Token, cs []Claim) []Claim {
	taken := map[int]bool{}
	last := -1
	for i, c := range cs {
		if c.Number == nil {
			continue
		}
		if last >= 0 {
			if b := cs[last]; c.From-b.To <= 5 && c.From >= b.To && takesBack(ts[b.To:c.From]) {
				taken[last] = true
			}
		}
		last = i
	}
	out := cs[:0]
	for i, c := range cs {
		if !taken[i] {
			out = append(out, c)
		}
	}
	return out
}

func takesBack(ts []lexicon.Token) bool {
	for i, t := range ts {
		switch t.Stem {
		case "sorry", "correction", "rather", "scratch", "oops", "wait", "no", "nope":
			return true
		case "mean":
			return i > 0
		case "make":
			return i+1 < len(ts) && ts[i+1].Stem == "that"
		}
	}
	return false
}

// denied reports whether the words just before a phrase forbid it.
func denied(ts []lexicon.Token, at int) bool {
	for i := at - 1; i >= 0 && i >= at-4; i-- {
		if strings.ContainsAny(ts[i+1].Before, ".;:!?,") {
			return false
		}
		if slices.Contains([]string{"never", "not", "don't", "no", "without", "rather", "avoid", "nor", "instead"}, ts[i].Stem) {
			return true
		}
	}
	return false
}

// facingHere reports whether "front" or "rear" tells which way something points.
func facingHere(ts []lexicon.Token, at int) bool {
	for i := at - 1; i >= 0 && i >= at-4; i-- {
		switch ts[i].Stem {
		case "head", "facing", "face", "point", "pointing", "towards", "cone", "collar", "lip", "arrow":
			return true
		case "to", "the", "with", "its":
		default:
			return false
		}
		if i < at && strings.ContainsAny(ts[i+1].Before, ",.;:") {
			return false
		}
	}
	return false
}

// hands finds what is said of the hand of a thread.
func (w *World) hands(ts []lexicon.Token, out []Claim) []Claim {
	for i := 0; i+1 < len(ts); i++ {
		side := ts[i].Stem
		if side != "left" && side != "right" {
			continue
		}
		next := ts[i+1].Stem
		if next == "handed" || next == "hand" && i+2 < len(ts) && strings.HasPrefix(ts[i+2].Stem, "thread") {
			out = append(out, Claim{Kind: OfHand, Value: side, From: i, To: min(i+3, len(ts)), Denied: denied(ts, i)})
		}
	}
	return out
}

// times are the nouns that are counted though they are no fasteners.
var times = map[string]string{
	"round": "round", "pass": "round", "time": "time", "people": "people", "person": "people", "drop": "drop", "stage": "stage",
	"pair": "", "notch": "notch",
}

// numbers finds counts, quantities, sizes and times.
func (w *World) numbers(ts []lexicon.Token, ms []lexicon.Match, names []Named, out []Claim) []Claim {
	unit := func(at int) (string, int) {
		id, to := "", at
		for _, m := range ms {
			if m.From == at && m.Concept.Kind == lexicon.UnitOf && m.To > to {
				id, to = m.Concept.ID, m.To
			}
		}
		return id, to
	}
	for i := 0; i < len(ts); {
		if u, n, to := turnsAt(ts, i); u != "" {
			out = append(out, Claim{Kind: OfQuantity, Unit: u, Number: n, From: i, To: to})
			i = to
			continue
		}
		if ts[i].Stem == "t" && i+1 < len(ts) && joined(ts[i+1]) { // the size of a hexalobular bit: "T50", "tee thirty"
			if n, ok := numberAt(ts, i+1); ok && n.Readings[0] >= 6 && n.Readings[0] <= 100 {
				out = append(out, Claim{Kind: OfSize, Unit: "T", Number: &n, From: i, To: n.To})
				i = n.To
				continue
			}
		}
		n, ok := numberAt(ts, i)
		if !ok && rounds(ts, i) {
			n, ok = Number{Readings: []float64{map[string]float64{"once": 1, "twice": 2}[ts[i].Stem]}, Step: 1, From: i, To: i + 1}, true
			out = append(out, Claim{Kind: OfTimes, Unit: "round", Number: &n, From: i, To: i + 1})
			i++
			continue
		}
		if !ok {
			if ts[i].Stem == "both" {
				if k := nameBehind(ts, names, i+1); k >= 0 && isFastener(names[k]) {
					out = append(out, Claim{Kind: OfCount, Value: "both", Number: &Number{Readings: []float64{2}, Step: 1, From: i, To: i + 1}, From: i, To: i + 1})
				}
			}
			i++
			continue
		}
		n.hundredths(ts)
		n = misheard(ts, n, func(at int) bool { u, _ := unit(at); return u == "N.m" || u == "lbf.ft" || u == "lbf.in" })
		from := n.From
		at := n.To
		for at+1 < len(ts) && (ts[at].Stem == "of" && (ts[at+1].Stem == "a" || ts[at+1].Stem == "an") || ts[at].Stem == "full" || ts[at].Stem == "uh" || ts[at].Stem == "um") {
			if ts[at].Stem == "of" {
				at++
			}
			at++
		}
		u, to := unit(at)
		if u == "turn" && strings.ToLower(ts[at].Text) == "turn" && n.Readings[0] > 1 { // "stage two of four, turn all ten"
			u, to = "", at
		}
		switch {
		case u != "" && at < len(ts) && (joined(ts[at]) || ts[at].Before == "·"):
			out = append(out, w.measured(ts, n, u, from, to))
		case at < len(ts) && joined(ts[at]) && sizeNoun(ts[at].Stem):
			out = append(out, Claim{Kind: OfSize, Unit: "mm", Number: &n, From: from, To: at + 1})
			to = at + 1
		default:
			to = n.To
			if n.To+1 < len(ts) && ts[n.To].Stem == "of" && slices.Contains([]string{"them", "these", "those"}, ts[n.To+1].Stem) {
				out = append(out, Claim{Kind: OfCount, Value: "them", Number: &n, From: from, To: n.To})
			} else if k := nameBehind(ts, names, n.To); k >= 0 && isFastener(names[k]) && n.Readings[0] >= 1 && n.Readings[0] < 100 {
				out = append(out, Claim{Kind: OfCount, Number: &n, From: from, To: n.To})
			} else if n.To < len(ts) && joined(ts[n.To]) {
				if from > 1 && ts[from-1].Stem == "of" && stageBefore(ts, from-1) {
					out = append(out, Claim{Kind: OfTimes, Unit: "stage", Number: &n, From: from, To: n.To})
				} else if noun, ok := times[ts[n.To].Stem]; ok && noun != "" {
					out = append(out, Claim{Kind: OfTimes, Unit: noun, Number: &n, From: from, To: n.To + 1})
				} else if from > 0 && ts[from-1].Stem == "stage" {
					out = append(out, Claim{Kind: OfTimes, Unit: "stage", Number: &n, From: from, To: n.To})
				} else if from > 0 && ts[from-1].Stem == "all" {
					out = append(out, Claim{Kind: OfCount, Number: &n, From: from, To: n.To})
				} else {
					out = append(out, Claim{Kind: OfQuantity, Number: &n, From: from, To: n.To})
				}
			} else if from > 0 && (ts[from-1].Stem == "stage" || ts[from-1].Stem == "of" && stageBefore(ts, from-1)) {
				out = append(out, Claim{Kind: OfTimes, Unit: "stage", Number: &n, From: from, To: n.To})
			} else if from > 0 && ts[from-1].Stem == "all" {
				out = append(out, Claim{Kind: OfCount, Number: &n, From: from, To: n.To})
			} else {
				out = append(out, Claim{Kind: OfQuantity, Number: &n, From: from, To: n.To})
			}
		}
		i = max(to, i+1)
	}
	return out
}

// rounds reports whether "once" or "twice" counts rounds: "go round twice", "twice round".
func rounds(ts []lexicon.Token, i int) bool {
	if w := ts[i].Stem; w != "once" && w != "twice" {
		return false
	}
	near := func(k int) bool {
		return k >= 0 && k < len(ts) && (ts[k].Stem == "round" || ts[k].Stem == "around" || ts[k].Stem == "pass")
	}
	return near(i-1) || near(i+1)
}

// stageBefore reports whether "stage one" stands before a token.
func stageBefore(ts []lexicon.Token, at int) bool {
	return at >= 2 && ts[at-2].Stem == "stage" && (isDigit(ts[at-1]) || ones[ts[at-1].Stem] > 0)
}

func sizeNoun(w string) bool {
	return w == "socket" || w == "spanner" || w == "deep"
}

// measured is a number with its unit: a quantity, or the size of a tool.
func (w *World) measured(ts []lexicon.Token, n Number, unit string, from, to int) Claim {
	c := Claim{Kind: OfQuantity, Unit: unit, Number: &n, From: from, To: to}
	if unit != "mm" && unit != "in" {
		return c
	}
	if r := n.Readings[0]; !isDigit(ts[n.From]) && r > 100 && r < 1000 { // "one ten mil bolt" is one of ten millimetres
		n.Readings = append(n.Readings, math.Mod(r, 100))
	}
	for at := to; at < len(ts) && at < to+3 && joined(ts[at]); at++ {
		switch ts[at].Stem {
		case "socket", "spanner", "wrench", "key", "allen", "hex", "head", "bit", "bolt", "nut", "screw":
			c.Kind = OfSize
			if ts[at].Stem == "drive" {
				c.Kind = OfQuantity
			}
			return c
		case "drive":
			return c
		}
	}
	for at := from - 1; at >= 0 && at >= from-3 && joined(ts[at+1]); at-- {
		if ts[at].Stem == "socket" {
			c.Kind = OfSize
			return c
		}
	}
	// "eighteen mil, throw them away": whole millimetres of a hexagon's size.
	if (unit == "mm") && strings.HasPrefix(ts[to-1].Stem, "mil") && n.Step == 1 && n.Readings[0] >= 4 && n.Readings[0] <= 60 && ts[to-1].Stem != "millimetre" {
		c.Kind = OfSize
	}
	return c
}

// turnsAt reads "half a turn", "a quarter turn", "two full turns".
func turnsAt(ts []lexicon.Token, i int) (unit string, n *Number, to int) {
	part, at := 0.0, i+1
	stem := func(k int) string {
		if k < len(ts) {
			return ts[k].Stem
		}
		return ""
	}
	switch ts[i].Stem {
	case "a", "one", "full", "whole", "complete":
		for at < len(ts) && (ts[at].Stem == "full" || ts[at].Stem == "whole" || ts[at].Stem == "complete") {
			at++
		}
		full := at > i+1 || ts[i].Stem != "a" && ts[i].Stem != "one"
		if stem(at) != "turn" {
			return "", nil, i
		}
		more := map[string]float64{"half": 0.5, "quarter": 0.25}[stem(at+3)]
		if stem(at+1) == "and" && (stem(at+2) == "a" || stem(at+2) == "one") && more > 0 {
			return "turn", &Number{Readings: []float64{1 + more}, From: i, To: at + 4}, at + 4
		}
		if !full {
			return "", nil, i
		}
		return "turn", &Number{Readings: []float64{1}, From: i, To: at + 1}, at + 1
	case "half":
		part = 0.5
	case "quarter":
		part = 0.25
	case "three", "3":
		if i+1 < len(ts) && ts[i+1].Stem == "quarter" {
			part, at = 0.75, i+2
		}
	}
	if part == 0 {
		return "", nil, i
	}
	for at < len(ts) && (ts[at].Stem == "of" || ts[at].Stem == "a") {
		at++
	}
	if at < len(ts) && ts[at].Stem == "turn" {
		return "turn", &Number{Readings: []float64{part}, From: i, To: at + 1}, at + 1
	}
	return "", nil, i
}

// nameBehind returns the index of the name that a count before it is of, -1 for none:
// "two new carrier bolts", "all ten of the cover bolts".
func nameBehind(ts []lexicon.Token, names []Named, at int) int {
	for k := 0; k < 4 && at < len(ts); k++ {
		if k > 0 && !joined(ts[at]) {
			return -1
		}
		for j := range names {
			if names[j].From == at {
				return j
			}
		}
		if !slices.Contains([]string{"new", "old", "of", "the", "fresh", "remaining", "left", "right", "small", "little", "front", "rear"}, ts[at].Stem) {
			return -1
		}
		at++
	}
	return -1
}

func isFastener(n Named) bool {
	return slices.ContainsFunc(n.Candidates, func(t *Thing) bool { return t.Fastener != nil })
}
