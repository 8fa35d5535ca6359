package store

import (
	"fmt"

	"proofload/specdata"
)

// Negative is the ErrInvalid of a position below 0.
func Negative(position int64) error {
	return fmt.Errorf("position %d: %w: positions count from 1, 0 is before the first", position, ErrInvalid)
}

// Future is the ErrFuture of a position beyond the head.
func Future(position, head int64) error {
	return fmt.Errorf("position %d: %w: the newest is %d", position, ErrFuture, head)
}

// Absent is the ErrNotFound of a record that had no revision at a position.
func Absent(name specdata.Name, position int64) error {
	return fmt.Errorf("record %s: %w at position %d", name, ErrNotFound, position)
}

// Damaged is the ErrCorrupt of a revision whose document has another hash than the
// one it was published with.
func Damaged(name specdata.Name, number int64) error {
	return fmt.Errorf("record %s revision %d: %w: its document does not have the hash it was published with; restore the store from a backup", name, number, ErrCorrupt)
}
