package dryrun

import (
	"reflect"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// SetUp is the set-up block of a procedure as far as some of its variants need it.
type SetUp struct {
	Tools       []Listed[specdata.Tool]
	Parts       []Listed[specdata.NewPart]
	Consumables []Listed[specdata.Consumable]
}

// Listed is one line of a set-up block.
type Listed[T any] struct {
	Thing T
	// Where is the option values it is for where every step that uses it is for the same,
	// nil where it is for all.
	Where map[string][]string
}

// SetUpOf returns the set-up block of a procedure for some of its variants: without what
// only steps of other variants use. What no step names stays, because a person may need
// what the record does not say.
func SetUpOf(l library.Library, p *specdata.Procedure, vs []Variant) SetUp {
	s := setUp{p: p, vs: vs, fastener: func(id string) *specdata.Fastener { return library.Fastener(l, id) }}
	var out SetUp
	for _, t := range p.Tools {
		out.Tools = gather(out.Tools, &s, t, s.usesTool)
	}
	for _, n := range p.Parts {
		out.Parts = gather(out.Parts, &s, n, s.usesPart)
	}
	for _, c := range p.Consumables {
		out.Consumables = gather(out.Consumables, &s, c, usesConsumable)
	}
	return out
}

type setUp struct {
	p        *specdata.Procedure
	vs       []Variant
	fastener func(id string) *specdata.Fastener
}

// gather adds a thing where a step of the variants uses it, or none of any variant does.
func gather[T any](to []Listed[T], s *setUp, thing T, uses func(*specdata.Step, T) bool) []Listed[T] {
	var by []*specdata.Step
	for i := range s.p.Steps {
		if uses(&s.p.Steps[i], thing) {
			by = append(by, &s.p.Steps[i])
		}
	}
	if len(by) > 0 && !slices.ContainsFunc(by, s.takes) {
		return to
	}
	l := Listed[T]{Thing: thing}
	if len(by) > 0 && !slices.ContainsFunc(by, func(st *specdata.Step) bool { return !reflect.DeepEqual(st.Where, by[0].Where) }) {
		l.Where = by[0].Where
	}
	return append(to, l)
}

// takes reports whether one of the variants takes a step.
func (s *setUp) takes(st *specdata.Step) bool {
	return slices.ContainsFunc(s.vs, func(v Variant) bool { return covers(st.Where, v) })
}

// usedFor holds the verbs that need a tool of a kind though nobody names it.
var usedFor = map[string][]specdata.Verb{
	"jack":  {specdata.Raise, specdata.LoadSuspension, specdata.Lower},
	"stand": {specdata.Support},
	"lift":  {specdata.Raise, specdata.Support, specdata.Lower},
	"chock": {specdata.Secure},
}

func (s *setUp) usesTool(st *specdata.Step, t specdata.Tool) bool {
	if slices.Contains(specdata.Placeholders(st.Text, "tool"), t.ID) || says(st.Text, t.Title) {
		return true
	}
	return slices.ContainsFunc(st.Operations, func(o specdata.Operation) bool {
		if o.Tool == t.ID || o.Through == t.ID || o.With == t.ID || specdata.SameWords(o.With, t.Title) || says(o.Note, t.Title) || slices.Contains(usedFor[t.Kind], o.Do) {
			return true
		}
		typ, id := o.Target.Split()
		if typ != "fastener" || t.Size == "" {
			return false
		}
		f := s.fastener(id)
		if f == nil {
			return false
		}
		_, measure, _ := strings.Cut(t.Size, " ")
		return f.Drive != nil && (f.Drive.Head == t.Size || f.Drive.Nut == t.Size) ||
			f.Tightening != nil && f.Tightening.Hold != nil && measure != "" && strings.Contains(f.Tightening.Hold.With, measure)
	})
}

// usesPart reports whether a step fits what is ordered new. A step that takes the old
// piece out counts only where no step says that it fits a new one.
func (s *setUp) usesPart(st *specdata.Step, n specdata.NewPart) bool {
	target := specdata.Target("fastener:" + n.Fastener)
	if n.Part != "" {
		target = specdata.Target("part:" + n.Part)
	}
	isNew := func(o specdata.Operation) bool { return o.Target == target && o.New }
	if slices.ContainsFunc(s.p.Steps, func(st specdata.Step) bool { return slices.ContainsFunc(st.Operations, isNew) }) {
		return slices.ContainsFunc(st.Operations, isNew)
	}
	return slices.ContainsFunc(st.Operations, func(o specdata.Operation) bool { return o.Target == target })
}

func usesConsumable(st *specdata.Step, c specdata.Consumable) bool {
	if slices.Contains(specdata.Placeholders(st.Text, "amount"), c.ID) || says(st.Text, c.Title) {
		return true
	}
	return slices.ContainsFunc(st.Operations, func(o specdata.Operation) bool {
		return o.With == c.ID || specdata.SameWords(o.With, c.Title) || says(o.Note, c.Title)
	})
}

// says reports whether a text names a thing by its whole title.
func says(text, title string) bool {
	return title != "" && strings.Contains(strings.ToLower(text), strings.ToLower(title))
}

func things[T any](ls []Listed[T]) []T {
	var out []T
	for _, l := range ls {
		out = append(out, l.Thing)
	}
	return out
}
