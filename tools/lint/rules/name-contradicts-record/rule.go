// Package namecontradictsrecord finds records whose words name another side of the
// vehicle, or another hand of thread, than their fields do.
package namecontradictsrecord

import (
	_ "embed"
	"regexp"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "name-contradicts-record",
	Title:     "words of a record name another side or hand of thread than its fields",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Record:    check,
}

var (
	// hand is a thread of one hand as it is written: "left-hand thread", "LH thread",
	// "left-handed", "reverse thread".
	hand = lint.MustPhrase(`(?i)\b(left|right|l\.?h\.?|r\.?h\.?|reversed?)[- ]?(hand(?:ed)?[- ]thread(?:s|ed)?|handed|thread(?:s|ed)?)(?:\b|$)`)
	// marked is the mark that ISO 965-1 puts behind the designation of a left-hand thread.
	marked = regexp.MustCompile(`\bM\d+(?:\.\d+)?(?:\s*[x×]\s*\d+(?:\.\d+)?)?\s*-?\s*LH\b`)
	// elsewhere are the words of a clause that speaks of another nut, or of another time.
	elsewhere = regexp.MustCompile(`(?i)\b(not|no|never|isn't|unlike|other|others|opposite|another|instead|until|before|earlier|early|later|once|than|against|pair|only if)\b`)
	clause    = regexp.MustCompile(`[.;:,()]+(?:\s|$)`)
	// notSide are the words in which left and right are no side of the vehicle.
	notSide = regexp.MustCompile(`(?i)\b(?:(?:left|right)[- ]hand[- ]drive|(?:left|right)[- ]handed|right[- ]angled?|(?:left|right|lh|rh|l\.h\.?|r\.h\.?)[- ](?:hand(?:ed)?[- ])?thread(?:s|ed)?|M\d[\d.x×]*\s*-?\s*LH|(?:left|right) (?:of|bank|turn|way)|(?:turn|turns|turned) (?:left|right))\b`)
	sides   = regexp.MustCompile(`(?i)\b(left|right|l\.?h|r\.?h)\b`)
)

func check(p *lint.Pass) {
	f := p.Fastener()
	if side := onlySide(f); side != "" {
		if said := sideOf(f.Title); said != "" && said != side {
			p.Reportf("/title", "title says the %s side (%q), and applies_to has side: %s; the reader is sent to the other side of the vehicle: correct the one that is wrong", said, f.Title, side)
		} else if said := sideOf(strings.ReplaceAll(f.ID, "-", " ")); said != "" && said != side {
			p.Reportf("/id", "id says the %s side, and applies_to has side: %s; correct side, or write the record under another id", said, side)
		}
		if said := sideOf(f.Place); said != "" && said != side {
			p.Reportf("/place", "place says the %s side (%q), and applies_to has side: %s; correct the one that is wrong", said, f.Place, side)
		}
	}
	if f.Thread == nil || f.Thread.Hand == "" {
		return
	}
	texts := []struct{ at, text string }{{"/title", f.Title}, {"/note", f.Note}}
	if f.Source != nil {
		texts = append(texts, struct{ at, text string }{"/source/quote", f.Source.Quote})
	}
	if f.Fitting != nil {
		texts = append(texts, struct{ at, text string }{"/fitting/direction", f.Fitting.Direction})
	}
	for _, t := range texts {
		if words, said := handOf(t.text, onlySide(f)); said != "" && said != f.Thread.Hand {
			p.Reportf(t.at, "%s says %q, and thread.hand is %s; turned the wrong way the thread is driven tighter until it breaks, or works loose: look at the part and correct the one that is wrong",
				strings.TrimPrefix(strings.ReplaceAll(t.at, "/", "."), "."), words, f.Thread.Hand)
		}
	}
}

// onlySide returns the one side that every clause of a record is for, "" where there is none.
func onlySide(f *specdata.Fastener) specdata.Side {
	if len(f.AppliesTo) == 0 {
		return ""
	}
	side := f.AppliesTo[0].Side
	if side != specdata.SideLeft && side != specdata.SideRight ||
		slices.ContainsFunc(f.AppliesTo, func(a specdata.Applies) bool { return a.Side != side }) {
		return ""
	}
	return side
}

// sideOf returns the one side that a name says, "" where it says none or both.
func sideOf(name string) specdata.Side {
	var said specdata.Side
	for _, m := range sides.FindAllString(notSide.ReplaceAllString(name, ""), -1) {
		s := specdata.SideLeft
		if m[0] == 'r' || m[0] == 'R' {
			s = specdata.SideRight
		}
		if said != "" && said != s {
			return ""
		}
		said = s
	}
	return said
}

// handOf returns the words of a text that say the hand of the thread, and the hand; both
// are "" where it says none, two, or that of another nut.
func handOf(text string, side specdata.Side) (words, hand string) {
	for _, c := range clause.Split(text, -1) {
		if elsewhere.MatchString(c) {
			continue
		}
		w, h := handIn(c)
		if h == "" {
			continue
		}
		if of := sideOf(c); of != "" && of != side { // of the nut on one side
			continue
		}
		if hand != "" && h != hand {
			return "", ""
		}
		words, hand = w, h
	}
	return words, hand
}

func handIn(c string) (words, said string) {
	if m := marked.FindString(c); m != "" {
		return m, "left"
	}
	ms := hand.FindAllStringSubmatch(c, -1)
	if len(ms) != 1 {
		return "", ""
	}
	if first := strings.ToLower(ms[0][1]); strings.HasPrefix(first, "l") || strings.HasPrefix(first, "rev") {
		return ms[0][0], "left"
	}
	return ms[0][0], "right"
}
