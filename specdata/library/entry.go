package library

import "proofload/specdata/document"

// NewEntry makes an entry of a document that was read.
func NewEntry(d *document.Document) *Entry {
	e := &Entry{Record: d.Record, Hash: d.Hash, Canonical: d.Canonical}
	if d.File != "" {
		e.Locate = d.Locate
	}
	return e
}
