// Package library is a set of records behind one small interface, so that rules,
// the dry run and the planner do not care whether a folder, a store or a proposed
// correction on top of either holds them.
package library

import (
	"iter"

	"proofload/specdata"
)

// Entry is a record with the document it came from.
type Entry struct {
	Record specdata.Record
	// Hash is the SHA-256 of the canonical document, lower-case hex.
	Hash string
	// Canonical is the RFC 8785 form of the document.
	Canonical []byte
	// Locate returns the place of a JSON pointer in the file the document was read
	// from; it is nil for documents that came from no file.
	Locate func(pointer string) specdata.Position
}

// Name returns the record's full name.
func (e *Entry) Name() specdata.Name { return e.Record.Name() }

// Position returns the place of a pointer, or the zero Position.
func (e *Entry) Position(pointer string) specdata.Position {
	if e == nil || e.Locate == nil {
		return specdata.Position{}
	}
	return e.Locate(pointer)
}

// Library is read by many goroutines at once and does not change while it is read.
//
// A library that fetches on demand can fail half way; it then answers as if the
// record were absent and remembers the failure, which Err gives. Anyone who draws a
// conclusion from a library calls Err last and discards the conclusion on an error.
type Library interface {
	// Get returns the current entry of a name, nil if there is none.
	Get(name specdata.Name) *Entry
	// All returns every entry of a kind in order of id.
	All(kind specdata.Kind) iter.Seq[*Entry]
	// Uses lists the names of records that refer to a name, sorted.
	Uses(name specdata.Name) []specdata.Name
	// ForVehicle returns the entries of a kind with an applicability clause that
	// names the vehicle, in order of id.
	ForVehicle(kind specdata.Kind, vehicle string) iter.Seq[*Entry]
	// Err returns the first failure to fetch.
	Err() error
}

// Fastener returns the fastener with an id, nil if there is none.
func Fastener(l Library, id string) *specdata.Fastener {
	return get[*specdata.Fastener](l, specdata.KindFastener, id)
}

// Vehicle returns the vehicle with an id, nil if there is none.
func Vehicle(l Library, id string) *specdata.Vehicle {
	return get[*specdata.Vehicle](l, specdata.KindVehicle, id)
}

// Assembly returns the assembly with an id, nil if there is none.
func Assembly(l Library, id string) *specdata.Assembly {
	return get[*specdata.Assembly](l, specdata.KindAssembly, id)
}

// Procedure returns the procedure with an id, nil if there is none.
func Procedure(l Library, id string) *specdata.Procedure {
	return get[*specdata.Procedure](l, specdata.KindProcedure, id)
}

// Source returns the source with an id, nil if there is none.
func Source(l Library, id string) *specdata.Source {
	return get[*specdata.Source](l, specdata.KindSource, id)
}

func get[R specdata.Record](l Library, k specdata.Kind, id string) R {
	var zero R
	e := l.Get(specdata.NewName(k, id))
	if e == nil {
		return zero
	}
	r, ok := e.Record.(R)
	if !ok {
		return zero
	}
	return r
}
