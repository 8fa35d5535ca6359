package lint

import "proofload/specdata/library"

// clashes is what several rules ask about one fastener, worked out when the first
// of them asks.
type clashes struct {
	named, asked bool
	namesakes    []*library.Entry
	list         []library.Clash
}

// Namesakes returns the other fasteners at the same place and under the same title
// on a vehicle of the record, a fastener. See library.Namesakes.
func (p *Pass) Namesakes() []*library.Entry {
	if !p.clashes.named {
		p.clashes.named, p.clashes.namesakes = true, library.Namesakes(p.Library, p.Fastener())
	}
	return p.clashes.namesakes
}

// Clashes returns the fasteners that answer for the same joint as the record, a
// fastener. See library.Clashes.
func (p *Pass) Clashes() []library.Clash {
	if p.clashes.asked {
		p.sharing("clashes", nil)
		return p.clashes.list
	}
	p.clashes.asked = true
	p.sharing("clashes", func() { p.clashes.list = library.Clashes(p.Library, p.Fastener(), p.Namesakes()) })
	return p.clashes.list
}
