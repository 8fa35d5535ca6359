package desk

import (
	"context"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

// ForWhom returns what the records of a correction hold for once it is published; of one
// that is withdrawn, what it held for. A reviewer sees it beside the values.
func (d *Desk) ForWhom(ctx context.Context, c *Correction) (map[specdata.Name]whom.For, error) {
	now, err := d.head(ctx)
	if err != nil {
		return nil, err
	}
	var entries []*library.Entry
	for i := range c.Drafts {
		if c.Drafts[i].Document == nil {
			continue
		}
		doc, err := document.ReadCanonical(c.Drafts[i].Document)
		if err != nil {
			return nil, err
		}
		entries = append(entries, library.NewEntry(doc))
	}
	l := library.Overlay(now, entries...)
	out := make(map[specdata.Name]whom.For, len(c.Drafts))
	for i := range c.Drafts {
		if e := l.Get(c.Drafts[i].Name); e != nil {
			out[c.Drafts[i].Name] = whom.OfRecord(l, e.Record)
		}
	}
	return out, now.Err()
}
