package lint

import (
	"fmt"
	"slices"
	"strings"
)

// CitationKind is what sort of document makes a check a rule.
type CitationKind string

// The kinds of citation, the strongest first.
const (
	Standard   CitationKind = "standard"   // ISO, VDI, SAE and other standards bodies
	Regulation CitationKind = "regulation" // law, or a code that an authority enforces
	Manual     CitationKind = "manual"     // a published technical manual or training course
	Guidance   CitationKind = "guidance"   // an authority's or laboratory's report or advice
	Practice   CitationKind = "practice"   // common practice of the trade; no document says it
	House      CitationKind = "house"      // what the shop that wrote the rule says
	Design     CitationKind = "design"     // how records are designed here
)

// CitationKinds lists the kinds.
var CitationKinds = []CitationKind{Standard, Regulation, Manual, Guidance, Practice, House, Design}

// Citation is one reason why a check is a rule.
type Citation struct {
	Kind CitationKind
	// Document is the document's number or title; empty for common practice.
	Document string
	// Clause is the section, table or appendix; empty where the whole document is meant.
	Clause string
	// Edition is the issue that was read; empty where it is not recorded.
	Edition string
	// Note says what the citation is for, where the rule has several.
	Note string
	// FromMemory says that nobody opened the document for this rule.
	FromMemory bool
}

// CommonPractice cites the trade itself: no document says it.
var CommonPractice = Citation{Kind: Practice}

// String returns the citation in one line: "ISO 898-1 table 5 (2013), from memory".
func (c Citation) String() string {
	var b strings.Builder
	b.WriteString(c.Document)
	if c.Kind == Practice {
		b.WriteString("common practice")
	}
	if c.Clause != "" {
		b.WriteString(" " + c.Clause)
	}
	if c.Edition != "" {
		b.WriteString(", edition " + c.Edition)
	}
	if c.Note != "" {
		b.WriteString(" (" + c.Note + ")")
	}
	if c.FromMemory {
		b.WriteString(", from memory")
	}
	return b.String()
}

// valid returns what is wrong with a citation.
func (c Citation) valid() error {
	switch {
	case !slices.Contains(CitationKinds, c.Kind):
		return fmt.Errorf("kind %q; allowed: %s", c.Kind, "standard, regulation, manual, guidance, practice, house, design")
	case (c.Kind == Practice) != (c.Document == ""):
		return fmt.Errorf("kind %q with document %q; common practice has no document, everything else has one", c.Kind, c.Document)
	}
	return nil
}

// Source returns the rule's citations in one line.
func (r *Rule) Source() string {
	parts := make([]string, len(r.Cites))
	for i, c := range r.Cites {
		parts[i] = c.String()
	}
	return strings.Join(parts, "; ")
}

// OnlyPractice reports whether no document is behind the rule.
func (r *Rule) OnlyPractice() bool {
	for _, c := range r.Cites {
		if c.Kind != Practice {
			return false
		}
	}
	return true
}

// Ward is what a rule protects; rules are listed by it.
type Ward string

// The wards; [Wards] says what each means.
const (
	People     Ward = "people"
	Wheels     Ward = "wheels"
	Finish     Ward = "finish"
	Order      Ward = "order"
	Method     Ward = "method"
	Joint      Ward = "joint"
	Number     Ward = "number"
	Source     Ward = "source"
	Fit        Ward = "fit"
	Tools      Ward = "tools"
	Words      Ward = "words"
	Correction Ward = "correction"
	Record     Ward = "record"
)

// WardMeaning is a ward and, in a line, what it is.
type WardMeaning struct {
	Ward  Ward
	Means string
}

// Wards lists the wards with what each means, in the order in which rules are listed.
var Wards = []WardMeaning{
	{People, "the people under, beside and in the vehicle"},
	{Wheels, "wheels, brakes, steering and suspension"},
	{Finish, "nothing is left off, loose, open or owed at the end"},
	{Order, "acts come in an order that can be done"},
	{Method, "how a fastener is turned, in what state and with what on it"},
	{Joint, "the bolt, its thread and its clamp load"},
	{Number, "the number is the one that the source prints"},
	{Source, "the source can be found, read and trusted"},
	{Fit, "the value holds for this vehicle, side and build"},
	{Tools, "the tool and the material are there, and fit"},
	{Words, "the sentence says what is done"},
	{Correction, "a published value changes for a reason"},
	{Record, "the record itself: its form, its names, its waivers"},
}

// Means returns in a line what a ward is.
func (w Ward) Means() string {
	if i := w.rank(); i >= 0 {
		return Wards[i].Means
	}
	return ""
}

// rank returns the place of a ward in the list, -1 for none.
func (w Ward) rank() int {
	for i, each := range Wards {
		if each.Ward == w {
			return i
		}
	}
	return -1
}

// ByWard orders rules by what they protect, then by name.
func ByWard(a, b *Rule) int {
	if a.Protects != b.Protects {
		return a.Protects.rank() - b.Protects.rank()
	}
	return strings.Compare(a.Name, b.Name)
}
