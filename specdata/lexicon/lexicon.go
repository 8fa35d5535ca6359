// Package lexicon is the trade's vocabulary: concepts with the words said for them in
// British and American shops. Search, resolve, the rules about sentences and narrations
// all read words through it, so that they agree on what a phrase means.
package lexicon

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
)

//go:embed words.txt
var words string

// Kind is a sort of concept.
type Kind string

// The sorts of concepts, as the sections of words.txt name them.
const (
	Thing     Kind = "things"
	Tool      Kind = "tools"
	Product   Kind = "products"
	State     Kind = "states"
	Direction Kind = "directions"
	Order     Kind = "orders"
	Newness   Kind = "newness"
	UnitOf    Kind = "units"
	Act       Kind = "acts"
)

// Concept is one meaning with the words for it.
type Concept struct {
	ID   string
	Kind Kind
	// Broader lists the ids of concepts that this one is a kind of.
	Broader []string
	// Words lists what is said for it, in the order of the file.
	Words []Word
	// Not lists look-alikes: phrases that contain a word of the concept and mean something else.
	Not []string
}

// Word is one way of saying a concept.
type Word struct {
	Text string
	// Market is "GB", "US" or "" for both.
	Market string
}

// Print returns the word to print in a market, "GB" or "US".
func (c *Concept) Print(market string) string {
	for _, w := range c.Words {
		if w.Market == market {
			return w.Text
		}
	}
	return c.Words[0].Text
}

// Lexicon is a set of concepts, ready for reading. It does not change and may be used
// by many goroutines.
type Lexicon struct {
	concepts  map[string]*Concept
	order     []*Concept
	spellings map[string]string
	// tree holds every phrase by its stems.
	tree node
}

type node struct {
	next map[string]*node
	// means lists the concepts that the phrase up to here is said for.
	means []*Concept
	// not lists the concepts of which the phrase up to here is a look-alike.
	not []*Concept
}

// current is the lexicon that SetDefault set, nil for the trade's.
var current atomic.Pointer[Lexicon]

// Default returns the lexicon that texts are read by: the trade's, or what SetDefault set.
func Default() *Lexicon {
	if l := current.Load(); l != nil {
		return l
	}
	return trade()
}

// SetDefault makes a lexicon the default of this program; nil goes back to the trade's. A
// main calls it when it opens the one library that it works on, before it reads a text.
func SetDefault(l *Lexicon) { current.Store(l) }

// Own returns the trade's lexicon with a library's own words added, by the id of the
// concept that they are said for; another id makes a thing. The error names the id.
func Own(words map[string][]string) (*Lexicon, error) {
	if len(words) == 0 {
		return trade(), nil
	}
	var b strings.Builder
	for _, id := range slices.Sorted(maps.Keys(words)) {
		if strings.ContainsAny(id+strings.Join(words[id], ""), "=!<>#,:[]\n") {
			return nil, fmt.Errorf("words of %q have a mark that no word has; allowed: letters, digits, spaces and hyphens", id)
		}
		b.WriteString(id + " = " + strings.Join(words[id], ", ") + "\n")
	}
	return trade().With(b.String())
}

// trade returns the trade's own lexicon.
var trade = sync.OnceValue(func() *Lexicon {
	l, err := parse(words)
	if err != nil {
		// Reached only when words.txt is broken; the package's tests load it.
		panic(err)
	}
	return l
})

// Get returns the concept with an id, nil if there is none.
func (l *Lexicon) Get(id string) *Concept { return l.concepts[id] }

// Concepts lists every concept in the order of the file.
func (l *Lexicon) Concepts() []*Concept { return l.order }

// With returns the lexicon with a library's own words added, in the form of words.txt.
// A line whose id exists adds words to that concept; another id makes a concept of the
// section it stands in, things where no section is named. The error names the line.
func (l *Lexicon) With(own string) (*Lexicon, error) {
	if strings.TrimSpace(own) == "" {
		return l, nil
	}
	return parse(words + "\n[things]\n" + own)
}

// Is reports whether a concept is another one or a kind of it.
func (l *Lexicon) Is(id, broad string) bool {
	if id == broad {
		return true
	}
	c := l.concepts[id]
	return c != nil && slices.ContainsFunc(c.Broader, func(b string) bool { return l.Is(b, broad) })
}

func parse(text string) (*Lexicon, error) {
	l := &Lexicon{concepts: map[string]*Concept{}, spellings: map[string]string{}}
	section := ""
	own := strings.Count(words, "\n") + 2
	for i, line := range strings.Split(text, "\n") {
		n := i + 1
		if n > own { // a library counts its own lines
			n -= own
		}
		line = strings.TrimSpace(line)
		switch {
		case line == "" || line[0] == '#':
			continue
		case line[0] == '[' && line[len(line)-1] == ']':
			section = line[1 : len(line)-1]
			if section != "spellings" && !slices.Contains(kinds, Kind(section)) {
				return nil, fmt.Errorf("lexicon line %d: section %q does not exist; allowed: spellings, %s", n, section, strings.Join(kindNames(), ", "))
			}
			continue
		}
		head, said, ok := strings.Cut(line, "=")
		if !ok {
			return nil, fmt.Errorf("lexicon line %d: %q has no \"=\"; write id = word, word", n, line)
		}
		if section == "spellings" {
			for w := range strings.SplitSeq(said, ",") {
				l.spellings[strings.TrimSpace(w)] = strings.TrimSpace(head)
			}
			continue
		}
		if err := l.add(Kind(section), head, said); err != nil {
			return nil, fmt.Errorf("lexicon line %d: %w", n, err)
		}
	}
	for _, c := range l.order {
		for _, b := range c.Broader {
			if l.concepts[b] == nil {
				return nil, fmt.Errorf("lexicon: concept %q is a kind of %q, which does not exist", c.ID, b)
			}
		}
		if c.Kind != Act { // acts are inflected and stand apart; package claim reads them
			l.index(c)
		}
	}
	return l, nil
}

var kinds = []Kind{Thing, Tool, Product, State, Direction, Order, Newness, UnitOf, Act}

func kindNames() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = string(k)
	}
	return names
}

func (l *Lexicon) add(k Kind, head, said string) error {
	id, broader, _ := strings.Cut(head, "<")
	id = strings.TrimSpace(id)
	if id == "" {
		return fmt.Errorf("concept has no id; write id = word, word")
	}
	if k == Act { // "turn" is a unit too, "clip" a thing
		id = ActID(id)
	}
	c := l.concepts[id]
	if c == nil && k == Thing { // a library adds to a unit or tool by its id too
		c = l.concepts[strings.ToLower(id)]
	}
	if c == nil {
		c = &Concept{ID: id, Kind: k}
		l.concepts[id] = c
		l.order = append(l.order, c)
	}
	c.Broader = append(c.Broader, strings.Fields(broader)...)
	said, not, _ := strings.Cut(said, "!")
	market := ""
	for w := range strings.SplitSeq(said, ",") {
		w = strings.TrimSpace(w)
		if len(w) > 3 && w[2] == ':' && (w[:2] == "us" || w[:2] == "gb") {
			market, w = strings.ToUpper(w[:2]), strings.TrimSpace(w[3:])
		} else {
			market = ""
		}
		if len(l.Tokens(w)) == 0 {
			return fmt.Errorf("concept %q has an empty word; leave the comma out", id)
		}
		c.Words = append(c.Words, Word{w, market})
	}
	for w := range strings.SplitSeq(not, ",") {
		if w = strings.TrimSpace(w); w != "" {
			c.Not = append(c.Not, w)
		}
	}
	return nil
}

// ActID returns the id of an act's concept, which is apart from those of things.
func ActID(act string) string { return "act:" + act }

func (l *Lexicon) index(c *Concept) {
	for _, w := range c.Words {
		n := l.put(w.Text)
		if !slices.Contains(n.means, c) {
			n.means = append(n.means, c)
		}
	}
	for _, w := range c.Not {
		n := l.put(w)
		n.not = append(n.not, c)
	}
}

func (l *Lexicon) put(phrase string) *node {
	n := &l.tree
	for _, t := range l.Tokens(phrase) {
		if n.next == nil {
			n.next = map[string]*node{}
		}
		m := n.next[t.Stem]
		if m == nil {
			m = &node{}
			n.next[t.Stem] = m
		}
		n = m
	}
	return n
}
