package lint

import (
	"bytes"
	"cmp"
	"math"
	"regexp"
	"regexp/syntax"
	"slices"
	"strings"
)

// Phrase is a regular expression that rules look for in sentences. Nearly every
// sentence lacks the words it takes, which is found out for a tenth of what matching
// costs. Texts are taken as the letters they have: that the long s folds to s, and
// the Kelvin sign to k, is left out of account.
type Phrase struct {
	expr *regexp.Regexp
	// takes are lists of words, in lower case: every match has one word of each list.
	takes [][][]byte
}

// MustPhrase compiles an expression for a declaration; it panics where
// regexp.MustCompile does.
func MustPhrase(expr string) *Phrase {
	p := &Phrase{expr: regexp.MustCompile(expr)}
	if tree, err := syntax.Parse(expr, syntax.Perl); err == nil {
		for _, words := range takes(tree.Simplify()) {
			var list [][]byte
			for _, w := range words {
				list = append(list, []byte(w))
			}
			p.takes = append(p.takes, list)
		}
	}
	return p
}

// MatchString reports whether a text has the phrase.
func (p *Phrase) MatchString(text string) bool { return p.may(text) && p.expr.MatchString(text) }

// FindString returns the first match, "" where there is none.
func (p *Phrase) FindString(text string) string {
	if !p.may(text) {
		return ""
	}
	return p.expr.FindString(text)
}

// FindStringIndex returns where the first match begins and ends, nil where there is none.
func (p *Phrase) FindStringIndex(text string) []int {
	if !p.may(text) {
		return nil
	}
	return p.expr.FindStringIndex(text)
}

// FindStringSubmatch returns the first match and its groups, nil where there is none.
func (p *Phrase) FindStringSubmatch(text string) []string {
	if !p.may(text) {
		return nil
	}
	return p.expr.FindStringSubmatch(text)
}

// FindAllStringSubmatch returns all matches and their groups.
func (p *Phrase) FindAllStringSubmatch(text string, n int) [][]string {
	if !p.may(text) {
		return nil
	}
	return p.expr.FindAllStringSubmatch(text, n)
}

// may reports whether a text has words that a match takes.
func (p *Phrase) may(text string) bool {
	if len(p.takes) == 0 {
		return true
	}
	var room [256]byte
	lower := room[:0]
	for i := range len(text) {
		c := text[i]
		if 'A' <= c && c <= 'Z' {
			c += 'a' - 'A'
		}
		lower = append(lower, c)
	}
	for _, words := range p.takes {
		if !slices.ContainsFunc(words, func(w []byte) bool { return bytes.Contains(lower, w) }) {
			return false
		}
	}
	return true
}

// takes returns lists of words such that every match of an expression has one word of
// each list, none where nothing can be said.
func takes(e *syntax.Regexp) [][]string {
	switch e.Op {
	case syntax.OpLiteral:
		w := strings.ToLower(string(e.Rune))
		if len(w) == len(e.Rune) && (len(w) > 1 || !strings.Contains("abcdefghijklmnopqrstuvwxyz0123456789 .,-", w)) {
			return [][]string{{w}}
		}
	case syntax.OpCapture, syntax.OpPlus:
		return takes(e.Sub[0])
	case syntax.OpRepeat:
		if e.Min > 0 {
			return takes(e.Sub[0])
		}
	case syntax.OpConcat:
		var all [][]string
		for _, s := range e.Sub {
			all = append(all, takes(s)...)
		}
		return all
	case syntax.OpAlternate:
		var union []string
		for _, s := range e.Sub {
			lists := takes(s)
			if len(lists) == 0 {
				return nil
			}
			union = append(union, slices.MaxFunc(lists, func(a, b []string) int { return cmp.Compare(rarity(a), rarity(b)) })...)
		}
		return [][]string{union}
	}
	return nil
}

// rarity is about how seldom a sentence has one of some words: the shortest decides,
// and every other sentence has "the".
func rarity(words []string) int {
	least := math.MaxInt
	for _, w := range words {
		if w = strings.TrimSpace(w); w == "the" {
			return 1
		}
		least = min(least, len(w))
	}
	return least
}
