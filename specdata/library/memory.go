package library

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"proofload/specdata"
)

// Memory is a library held in memory.
type Memory struct {
	entries  map[specdata.Name]*Entry
	order    map[specdata.Kind][]*Entry
	uses     map[specdata.Name][]specdata.Name
	vehicles map[vehicleKey][]*Entry
	alike    map[Likeness][]*Entry
	unread   map[specdata.Name]string
	words    map[string][]string
}

// Words returns the library's own words, by the id of what they are said for; nil where
// it has none.
func (m *Memory) Words() map[string][]string { return m.words }

// Unread returns the records whose files are there and cannot be read, with the
// file. They are not in the library, and they are not absent either.
func (m *Memory) Unread() map[specdata.Name]string { return m.unread }

type vehicleKey struct {
	kind    specdata.Kind
	vehicle string
}

// NewMemory builds a library of entries. Two entries of one name are an error
// that names both places.
func NewMemory(entries ...*Entry) (*Memory, error) {
	m := &Memory{
		entries:  make(map[specdata.Name]*Entry, len(entries)),
		order:    make(map[specdata.Kind][]*Entry),
		uses:     make(map[specdata.Name][]specdata.Name),
		vehicles: make(map[vehicleKey][]*Entry),
		alike:    make(map[Likeness][]*Entry),
	}
	for _, e := range entries {
		name := e.Name()
		if old, ok := m.entries[name]; ok {
			return nil, fmt.Errorf("record %s stands twice: %s and %s; a name is used once, rename or remove one", name, place(old), place(e))
		}
		m.entries[name] = e
		k := name.Kind()
		m.order[k] = append(m.order[k], e)
		for _, ref := range specdata.Referred(e.Record) {
			m.uses[ref] = append(m.uses[ref], name)
		}
		for _, a := range specdata.AppliesOf(e.Record) {
			key := vehicleKey{k, a.Vehicle}
			if es := m.vehicles[key]; len(es) == 0 || es[len(es)-1] != e {
				m.vehicles[key] = append(es, e)
			}
		}
		if f, ok := e.Record.(*specdata.Fastener); ok {
			if like, ok := LikenessOf(f); ok {
				m.alike[like] = append(m.alike[like], e)
			}
		}
	}
	for _, es := range m.order {
		slices.SortFunc(es, byID)
	}
	for k, names := range m.uses {
		slices.Sort(names)
		m.uses[k] = slices.Compact(names)
	}
	for _, es := range m.vehicles {
		slices.SortFunc(es, byID)
	}
	for _, es := range m.alike {
		slices.SortFunc(es, byID)
	}
	return m, nil
}

func byID(a, b *Entry) int {
	return strings.Compare(a.Record.Header().ID, b.Record.Header().ID)
}

func place(e *Entry) string {
	if p := e.Position(""); p.File != "" {
		return p.File
	}
	return "a document without a file"
}

// Len returns the number of records.
func (m *Memory) Len() int { return len(m.entries) }

// Get implements Library.
func (m *Memory) Get(name specdata.Name) *Entry { return m.entries[name] }

// All implements Library.
func (m *Memory) All(kind specdata.Kind) iter.Seq[*Entry] { return slices.Values(m.order[kind]) }

// Uses implements Library.
func (m *Memory) Uses(name specdata.Name) []specdata.Name { return m.uses[name] }

// ForVehicle implements Library.
func (m *Memory) ForVehicle(kind specdata.Kind, vehicle string) iter.Seq[*Entry] {
	return slices.Values(m.vehicles[vehicleKey{kind, vehicle}])
}

// Alike implements ByLikeness.
func (m *Memory) Alike(like Likeness, id string, n int) []*Entry {
	return around(m.alike[like], id, n)
}

// Err implements Library; memory does not fail.
func (m *Memory) Err() error { return nil }
