package specdata

import (
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Reference is a place in a record that names another record.
type Reference struct {
	// Pointer is where the id is.
	Pointer string
	Name    Name
}

// References lists every place in a record that names another record, in
// document order. What an operation names inside an assembly is not here: the
// dry run resolves that.
func References(r Record) []Reference {
	var c references
	c.record(r)
	return c.found
}

// Referred lists the names of the records that a record refers to, in document order,
// as often as it does. It saves building the pointers.
func Referred(r Record) []Name {
	c := references{placeless: true}
	c.record(r)
	return c.names
}

func (c *references) record(r Record) {
	if h := r.Header(); h.Replaces != "" {
		c.add("/replaces", h.Kind, h.Replaces)
	}
	switch r := r.(type) {
	case *Vehicle:
		c.cite(r.Source)
	case *Fastener:
		c.applies(r.AppliesTo)
		for i, p := range r.Pairs {
			c.add(c.at("/pairs", i, "fastener"), KindFastener, p.Fastener)
		}
		c.cite(r.Source)
	case *Assembly:
		c.assembly(r)
	case *Procedure:
		c.procedure(r)
	case *Source:
		for i, id := range r.Supersedes {
			c.add(c.at("/supersedes", i, ""), KindSource, id)
		}
		for i, id := range r.Concerns {
			c.add(c.at("/concerns", i, ""), KindVehicle, id)
		}
	}
}

// references gathers what a record refers to: with places, or names alone.
type references struct {
	found []Reference
	names []Name
	// placeless says that places are not wanted.
	placeless bool
}

func (c *references) add(pointer string, k Kind, id string) {
	switch {
	case id == "":
	case c.placeless:
		c.names = append(c.names, NewName(k, id))
	default:
		c.found = append(c.found, Reference{pointer, NewName(k, id)})
	}
}

// at is At where places are wanted.
func (c *references) at(base string, i int, key string) string {
	if c.placeless {
		return ""
	}
	return At(base, i, key)
}

func (c *references) cite(s *Citation) {
	if s != nil {
		c.add("/source/document", KindSource, s.Document)
	}
}

func (c *references) applies(as []Applies) {
	for i, a := range as {
		c.add(c.at("/applies_to", i, "vehicle"), KindVehicle, a.Vehicle)
	}
}

func (c *references) held(base string, i int, ids []string) {
	for j, id := range ids {
		c.add(c.at(c.at(base, i, "held_by"), j, ""), KindFastener, id)
	}
}

func (c *references) assembly(r *Assembly) {
	c.applies(r.AppliesTo)
	for i := range r.Parts {
		c.held("/parts", i, r.Parts[i].HeldBy)
	}
	for i := range r.Joints {
		c.held("/joints", i, r.Joints[i].HeldBy)
	}
	for i := range r.Connections {
		c.held("/connections", i, r.Connections[i].HeldBy)
	}
	for at, t := range r.Openings() {
		if typ, id := t.Split(); typ == "fastener" {
			c.add(at, KindFastener, id)
		}
	}
	c.cite(r.Source)
}

func (c *references) procedure(r *Procedure) {
	c.applies(r.AppliesTo)
	for i, id := range r.Assemblies {
		c.add(c.at("/assemblies", i, ""), KindAssembly, id)
	}
	for i, p := range r.Parts {
		c.add(c.at("/parts", i, "fastener"), KindFastener, p.Fastener)
	}
	for i := range r.Steps {
		s := &r.Steps[i]
		for _, shown := range ValuesShown(s.Text) {
			c.add(c.at("/steps", i, "text"), KindFastener, shown.Fastener)
		}
		for _, id := range Placeholders(s.Text, "recheck") {
			c.add(c.at("/steps", i, "text"), KindFastener, id)
		}
		for j := range s.Operations {
			if typ, id := s.Operations[j].Target.Split(); typ == "fastener" {
				c.add(c.at(c.at("/steps", i, "operations"), j, "target"), KindFastener, id)
			}
		}
	}
	c.cite(r.Source)
}

// Placeholders lists the ids that placeholders of one sort name in a sentence:
// {torque:quill-1-rear-hub-nut} is a placeholder of the sort "torque".
func Placeholders(text, sort string) []string {
	var ids []string
	for {
		i := strings.Index(text, "{"+sort+":")
		if i < 0 {
			return ids
		}
		text = text[i+len(sort)+2:]
		j := strings.IndexByte(text, '}')
		if j < 0 {
			return ids
		}
		ids = append(ids, text[:j])
		text = text[j:]
	}
}

// At appends an index and, where there is one, a key to a JSON pointer.
func At(base string, i int, key string) string {
	p := base + "/" + strconv.Itoa(i)
	if key != "" {
		p += "/" + key
	}
	return p
}

// EscapePointer escapes one reference token of a JSON pointer (RFC 6901).
func EscapePointer(token string) string {
	if !strings.ContainsAny(token, "~/") {
		return token
	}
	return strings.ReplaceAll(strings.ReplaceAll(token, "~", "~0"), "/", "~1")
}

// AppliesOf returns a record's applicability, nil for kinds that have none.
func AppliesOf(r Record) []Applies {
	switch r := r.(type) {
	case *Fastener:
		return r.AppliesTo
	case *Assembly:
		return r.AppliesTo
	case *Procedure:
		return r.AppliesTo
	}
	return nil
}

// CitationOf returns a record's citation, nil where it has none.
func CitationOf(r Record) *Citation {
	switch r := r.(type) {
	case *Vehicle:
		return r.Source
	case *Fastener:
		return r.Source
	case *Assembly:
		return r.Source
	case *Procedure:
		return r.Source
	}
	return nil
}

// Overlap says whether some vehicle, option, build and side falls under both
// clauses. Options a clause does not mention are free.
func (a Applies) Overlap(b Applies) bool {
	if a.Vehicle != b.Vehicle || !a.Built.Overlaps(b.Built) || !sidesMeet(a.Side, b.Side) {
		return false
	}
	for _, key := range slices.Sorted(maps.Keys(a.Where)) {
		if other, ok := b.Where[key]; ok && !slices.ContainsFunc(a.Where[key], func(v string) bool { return slices.Contains(other, v) }) {
			return false
		}
	}
	return true
}

func sidesMeet(a, b Side) bool {
	norm := func(s Side) Side {
		if s == "" {
			return SideEach
		}
		return s
	}
	a, b = norm(a), norm(b)
	if a == b {
		return true
	}
	pair := func(x, y Side) bool { return x == SideEach && (y == SideLeft || y == SideRight) }
	return pair(a, b) || pair(b, a)
}
