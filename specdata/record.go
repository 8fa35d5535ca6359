// Package specdata has the records of a spec library: vehicles, fasteners, assemblies,
// procedures and sources, the quantities in them, and the findings about them.
package specdata

import (
	"fmt"
	"strings"
)

// Kind says what a record describes.
type Kind string

// The five kinds.
const (
	KindVehicle   Kind = "vehicle"
	KindFastener  Kind = "fastener"
	KindAssembly  Kind = "assembly"
	KindProcedure Kind = "procedure"
	KindSource    Kind = "source"
)

// Kinds lists the kinds in the order listings and exports use.
var Kinds = []Kind{KindVehicle, KindFastener, KindAssembly, KindProcedure, KindSource}

// Collection returns the folder and the resource collection of a kind
// ("fasteners"), or "" for a kind that does not exist.
func (k Kind) Collection() string {
	switch k {
	case KindVehicle:
		return "vehicles"
	case KindFastener:
		return "fasteners"
	case KindAssembly:
		return "assemblies"
	case KindProcedure:
		return "procedures"
	case KindSource:
		return "sources"
	}
	return ""
}

// KindOf returns the kind a collection holds.
func KindOf(collection string) (Kind, bool) {
	for _, k := range Kinds {
		if k.Collection() == collection {
			return k, true
		}
	}
	return "", false
}

// Name is a record's full name, "<collection>/<id>".
type Name string

// NewName joins a kind and an id.
func NewName(k Kind, id string) Name { return Name(k.Collection() + "/" + id) }

// ParseName checks the form of a full name.
func ParseName(s string) (Name, error) {
	collection, id, ok := strings.Cut(s, "/")
	if !ok {
		return "", fmt.Errorf("record name %q has no collection; write <collection>/<id>, like \"fasteners/quill-1-rear-hub-nut\"", Shorten(s))
	}
	if _, ok := KindOf(collection); !ok {
		return "", fmt.Errorf("record name %q names no collection; allowed: vehicles, fasteners, assemblies, procedures, sources", Shorten(s))
	}
	if !ValidID(id) {
		return "", fmt.Errorf("record name %q has an id that is not lower-case words joined by hyphens, at most %d characters", Shorten(s), MaxID)
	}
	return Name(s), nil
}

// Acts is the collection of acts: what people with authority did, as the log holds it
// beside the records. An act is no record: only the log and its proofs know it.
const Acts = "acts"

// IsAct reports whether the name is of an act.
func (n Name) IsAct() bool { return strings.HasPrefix(string(n), Acts+"/") }

// ParseEntry checks the form of the name of what a log holds: a record or an act.
func ParseEntry(s string) (Name, error) {
	if n := Name(s); n.IsAct() && ValidID(n.ID()) {
		return n, nil
	}
	return ParseName(s)
}

// Kind returns the kind the name's collection holds, "" if it is malformed.
func (n Name) Kind() Kind {
	collection, _, _ := strings.Cut(string(n), "/")
	k, _ := KindOf(collection)
	return k
}

// ID returns the part after the collection.
func (n Name) ID() string {
	_, id, _ := strings.Cut(string(n), "/")
	return id
}

// MaxID is the longest id, in bytes.
const MaxID = 80

// ValidID reports whether s is lower-case kebab of at most MaxID bytes. It runs for
// every request, where a regular expression would be what costs most.
func ValidID(s string) bool {
	if s == "" || len(s) > MaxID || s[len(s)-1] == '-' {
		return false
	}
	before := byte('-')
	for i := range len(s) {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && (c != '-' || before == '-') {
			return false
		}
		before = c
	}
	return true
}

// Head is what every record starts with.
type Head struct {
	Kind  Kind   `json:"kind"`
	ID    string `json:"id"`
	Title string `json:"title"`
	// Note is for readers; no value may hide in it.
	Note string `json:"note,omitempty"`
	// Replaces is the id of the withdrawn record of the same kind that this one takes over from.
	Replaces string   `json:"replaces,omitempty"`
	Waivers  []Waiver `json:"waivers,omitempty"`
}

// Header returns access to the head through the Record interface.
func (h *Head) Header() *Head { return h }

// Name returns the record's full name.
func (h *Head) Name() Name { return NewName(h.Kind, h.ID) }

// Record is one of *Vehicle, *Fastener, *Assembly, *Procedure and *Source.
type Record interface {
	Header() *Head
	Name() Name
}

// New returns an empty record of a kind, or nil for a kind that does not exist.
func New(k Kind) Record {
	switch k {
	case KindVehicle:
		return &Vehicle{}
	case KindFastener:
		return &Fastener{}
	case KindAssembly:
		return &Assembly{}
	case KindProcedure:
		return &Procedure{}
	case KindSource:
		return &Source{}
	}
	return nil
}

// Waiver accepts one finding for one value until a day. It lives in the record
// it concerns, so that it is versioned and reviewed like any value.
type Waiver struct {
	Rule string `json:"rule"`
	// At is the JSON pointer by key of the finding ("/tightening/stages/0/torque").
	At string `json:"at"`
	// Value is the value accepted; the waiver lapses when the value changes.
	Value string `json:"value"`
	// Reason is at least 15 characters.
	Reason string `json:"reason"`
	// Until is at most 180 days ahead.
	Until Date   `json:"until"`
	By    string `json:"by"`
}

// Citation says where a record's values come from and who carried them over.
type Citation struct {
	// Document is the id of a source record.
	Document string `json:"document"`
	// At is the place in it: page, sheet, table, row.
	At string `json:"at"`
	// Quote is the number as printed there, and nothing more of the text.
	Quote string `json:"quote,omitempty"`
	// ReadOn is the day someone read the value in the document.
	ReadOn    Date   `json:"read_on"`
	EnteredBy string `json:"entered_by"`
	CheckedBy string `json:"checked_by,omitempty"`
	// Confidence is "read", "second-hand" or "estimated"; absent means read.
	Confidence string `json:"confidence,omitempty"`
}

// Source is a document that values rest on.
type Source struct {
	Head
	Issuer  string `json:"issuer"`
	Edition string `json:"edition,omitempty"`
	// Date is when it was issued, as exactly as it says.
	Date IssueDate `json:"date"`
	// Type is maker, standard, table, measured or bulletin.
	Type string `json:"type"`
	// Licence says on what terms its numbers may be quoted.
	Licence string `json:"licence"`
	// Supersedes lists the ids of the sources this one replaces.
	Supersedes []string `json:"supersedes,omitempty"`
	// Concerns lists the vehicles it is about; empty means any.
	Concerns []string `json:"concerns,omitempty"`
}
