package lint

import (
	"slices"
	"sync"

	"proofload/specdata"
	"proofload/specdata/library"
)

// duplicates finds the vehicles and sources that may be recorded twice. Comparing each
// with every other would take a large library's time, so the first record that asks
// has all sorted by their words, once for a run over many.
type duplicates struct {
	vehicles, sources func() map[string][]*library.Entry
}

func newDuplicates(l library.Library) *duplicates {
	return &duplicates{byWords(l, specdata.KindVehicle), byWords(l, specdata.KindSource)}
}

func byWords(l library.Library, k specdata.Kind) func() map[string][]*library.Entry {
	return sync.OnceValue(func() map[string][]*library.Entry {
		m := map[string][]*library.Entry{}
		for e := range l.All(k) {
			words := specdata.PlainWords(known(e.Record))
			m[words] = append(m[words], e)
		}
		return m
	})
}

// known returns what a vehicle or a source is known by: its model, its title.
func known(r specdata.Record) string {
	if v, ok := r.(*specdata.Vehicle); ok {
		return v.Model
	}
	return r.Header().Title
}

// Duplicates returns the other records that may be about the same thing as the record,
// in order of id: the vehicles of the same model and the sources of the same title, by
// the measure of specdata.SameWords, and the fasteners that library.Duplicates returns.
func (p *Pass) Duplicates() []*library.Entry {
	if f, ok := p.Entry.Record.(*specdata.Fastener); ok {
		if !p.clashes.compared {
			p.clashes.compared, p.clashes.duplicates = true, library.Duplicates(p.Library, f)
		}
		return p.clashes.duplicates
	}
	own := known(p.Entry.Record)
	kind := p.Entry.Record.Header().Kind
	candidates := p.Library.All(kind)
	if p.duplicates != nil {
		index := p.duplicates.sources
		if kind == specdata.KindVehicle {
			index = p.duplicates.vehicles
		}
		candidates = slices.Values(index()[specdata.PlainWords(own)])
	}
	var others []*library.Entry
	for e := range candidates {
		if specdata.SameWords(known(e.Record), own) && e.Name() != p.Entry.Name() {
			others = append(others, e)
		}
	}
	return others
}
