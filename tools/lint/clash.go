package lint

import "proofload/specdata/library"

// clashes is what several rules ask about one fastener, worked out when the first
// of them asks.
type clashes struct {
	compared, asked bool
	duplicates      []*library.Entry
	list            []library.Clash
}

// Clashes returns the fasteners that answer for the same joint as the record, a
// fastener. See library.Clashes.
func (p *Pass) Clashes() []library.Clash {
	if p.clashes.asked {
		p.sharing("clashes", nil)
		return p.clashes.list
	}
	p.clashes.asked = true
	p.sharing("clashes", func() { p.clashes.list = library.Clashes(p.Library, p.Fastener(), p.Duplicates()) })
	return p.clashes.list
}
