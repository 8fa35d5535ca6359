package specdata

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"slices"
)

// Severity is how much a finding stops.
type Severity string

// The severities. An error blocks publishing; a warning needs a person's reason;
// advice informs.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
	Advice  Severity = "advice"
)

// Rank orders severities: 3 for error, 2 for warning, 1 for advice, 0 for anything else.
func (s Severity) Rank() int {
	switch s {
	case Error:
		return 3
	case Warning:
		return 2
	case Advice:
		return 1
	}
	return 0
}

// Position is a place in a file; the zero Position is none. Line and Column count
// from 1, columns in Unicode code points.
type Position struct {
	File   string `json:"file,omitempty"`
	Line   int    `json:"line,omitempty"`
	Column int    `json:"column,omitempty"`
}

// Finding is one thing a rule, or reading itself, has to say about a record.
type Finding struct {
	Rule     string   `json:"rule"`
	Severity Severity `json:"severity"`
	Record   Name     `json:"record,omitempty"`
	// Pointer is the RFC 6901 pointer of the value in the record's document.
	Pointer string `json:"pointer"`
	Position
	// Message says what is wrong, with the value; what would be right; and the mend.
	Message string `json:"message"`
	// Value is the value found, as the document has it.
	Value string `json:"value,omitempty"`
	// Arithmetic is the computation that proves it, a line a step.
	Arithmetic []string  `json:"arithmetic,omitempty"`
	Related    []Related `json:"related,omitempty"`
	Fix        []Change  `json:"fix,omitempty"`
	// Waived is the reason of the waiver that accepts it, "" if none does.
	Waived string `json:"waived,omitempty"`
	// Identity is constant when files move or are reformatted and differs when
	// the value changes. See Identify.
	Identity string `json:"identity"`
}

// Related is another place that a finding is about.
type Related struct {
	Record  Name   `json:"record,omitempty"`
	Pointer string `json:"pointer,omitempty"`
	Position
	Message string `json:"message"`
}

// Change is one operation of a JSON Patch (RFC 6902).
type Change struct {
	Op    string `json:"op"`
	Path  string `json:"path"`
	Value string `json:"value,omitempty"`
}

// NotChecked says that a rule could not judge a record, and why.
type NotChecked struct {
	Rule    string `json:"rule"`
	Record  Name   `json:"record"`
	Pointer string `json:"pointer,omitempty"`
	Why     string `json:"why"`
}

// Identify computes a finding's identity from the rule, the record, the pointer
// by key (list elements named by their id, not their number) and the value.
func (f *Finding) Identify(pointerByKey string) {
	h := sha256.New()
	for _, s := range []string{f.Rule, string(f.Record), pointerByKey, f.Value} {
		h.Write([]byte(s))
		h.Write([]byte{0})
	}
	f.Identity = hex.EncodeToString(h.Sum(nil)[:16])
}

// SortFindings puts findings in report order: file, line, column, record,
// pointer, rule, message.
func SortFindings(fs []Finding) {
	slices.SortStableFunc(fs, func(a, b Finding) int {
		return cmp.Or(
			cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column),
			cmp.Compare(a.Record, b.Record), cmp.Compare(a.Pointer, b.Pointer), cmp.Compare(a.Rule, b.Rule),
			cmp.Compare(a.Message, b.Message),
		)
	})
}
