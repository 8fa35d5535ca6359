package library

import (
	"iter"

	"proofload/specdata"
)

// IDs returns the ids of every record of a kind, in order.
func IDs(l Library, kind specdata.Kind) iter.Seq[string] {
	return func(yield func(string) bool) {
		for e := range l.All(kind) {
			if !yield(e.Record.Header().ID) {
				return
			}
		}
	}
}
