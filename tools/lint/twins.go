package lint

import (
	"slices"
	"sync"

	"proofload/specdata"
	"proofload/specdata/library"
)

// twins finds the vehicles and sources that may be recorded twice. Comparing each
// with every other would take a large library's time; so the first record that asks
// has all sorted by their words, once for a run over many.
type twins struct {
	vehicles, sources func() map[string][]*library.Entry
}

func newTwins(l library.Library) *twins {
	return &twins{byWords(l, specdata.KindVehicle), byWords(l, specdata.KindSource)}
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

// Twins returns the other vehicles of the record's model, or the other sources of its
// title, by the measure of specdata.SameWords, in order of id.
func (p *Pass) Twins() []*library.Entry {
	own := known(p.Entry.Record)
	kind := p.Entry.Record.Header().Kind
	candidates := p.Library.All(kind)
	if p.twins != nil {
		index := p.twins.sources
		if kind == specdata.KindVehicle {
			index = p.twins.vehicles
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
