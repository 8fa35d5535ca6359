package ledger

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint names the tree at a position. Its text is the C2SP tlog-checkpoint
// form: origin, size and root a line each, then extension lines, here the
// position and the time it was published.
type Checkpoint struct {
	// Origin names the library, unique for ever ("proofload.example/demo").
	Origin string
	// Size counts the leaves.
	Size int64
	Root tlog.Hash
	// Position is the position whose publication made the tree this size.
	Position int64
	Time     time.Time
}

// Text returns the checkpoint's canonical text.
func (c Checkpoint) Text() string {
	return fmt.Sprintf("%s\n%d\n%s\nposition %d\ntime %s\n", c.Origin, c.Size, base64.StdEncoding.EncodeToString(c.Root[:]), c.Position, c.Time.UTC().Format(time.RFC3339Nano))
}

// ParseCheckpoint reads a checkpoint's text and refuses any other spelling of it.
func ParseCheckpoint(text string) (Checkpoint, error) {
	var c Checkpoint
	lines := strings.Split(text, "\n")
	if len(lines) != 6 || lines[5] != "" {
		return c, fmt.Errorf("checkpoint has %d lines; want origin, size, root, position and time", len(lines)-1)
	}
	c.Origin = lines[0]
	var errs []error
	var err error
	if c.Size, err = strconv.ParseInt(lines[1], 10, 64); err != nil {
		errs = append(errs, fmt.Errorf("checkpoint size %q is not a count of leaves", lines[1]))
	}
	root, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(root) != tlog.HashSize {
		errs = append(errs, fmt.Errorf("checkpoint root %q is not %d bytes in base64", lines[2], tlog.HashSize))
	}
	copy(c.Root[:], root)
	if c.Position, err = strconv.ParseInt(strings.TrimPrefix(lines[3], "position "), 10, 64); err != nil {
		errs = append(errs, fmt.Errorf("checkpoint line %q is not a position", lines[3]))
	}
	if c.Time, err = time.Parse(time.RFC3339Nano, strings.TrimPrefix(lines[4], "time ")); err != nil {
		errs = append(errs, fmt.Errorf("checkpoint line %q is not a time", lines[4]))
	}
	if err := errors.Join(errs...); err != nil {
		return Checkpoint{}, err
	}
	if c.Text() != text || c.Size < 0 || c.Position < 0 || c.Origin == "" {
		return Checkpoint{}, errors.New("checkpoint is not in canonical form")
	}
	return c, nil
}

// Sign returns the signed note of a checkpoint. Ed25519 signatures are
// deterministic, so signing the same checkpoint again gives the same bytes.
func Sign(c Checkpoint, s note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: c.Text()}, s)
}

// Open verifies a signed checkpoint and returns it. It fails when none of the known keys
// signed it or its text is not a checkpoint.
func Open(signed []byte, known ...note.Verifier) (Checkpoint, error) {
	n, err := note.Open(signed, note.VerifierList(known...))
	if err != nil {
		name := "anybody known"
		if len(known) > 0 {
			name = known[0].Name()
		}
		return Checkpoint{}, fmt.Errorf("checkpoint is not signed by %s: %w", name, err)
	}
	for _, s := range n.Sigs {
		// Package note takes spare bits at the end as they come; one spelling is enough.
		if _, err := base64.StdEncoding.Strict().DecodeString(s.Base64); err != nil {
			return Checkpoint{}, fmt.Errorf("checkpoint signature of %s is not in canonical base64", s.Name)
		}
	}
	return ParseCheckpoint(n.Text)
}

// ProveLeaf returns the inclusion proof of leaf index in the tree of size leaves.
func ProveLeaf(size, index int64, stored Hashes) (tlog.RecordProof, error) {
	if index < 0 || index >= size {
		return nil, fmt.Errorf("leaf %d is not in a tree of %d leaves", index, size)
	}
	return tlog.ProveRecord(size, index, stored)
}

// ProveGrowth returns the consistency proof that the tree of from leaves is the
// beginning of the tree of to leaves.
func ProveGrowth(from, to int64, stored Hashes) (tlog.TreeProof, error) {
	if from < 1 || from > to {
		return nil, fmt.Errorf("a tree of %d leaves cannot grow from one of %d; give 1 <= from <= to", to, from)
	}
	return tlog.ProveTree(to, from, stored)
}

// CheckLeaf verifies an inclusion proof against a checkpoint.
func CheckLeaf(p tlog.RecordProof, c Checkpoint, index int64, leaf Leaf) error {
	if err := tlog.CheckRecord(p, c.Size, c.Root, index, leaf.Hash()); err != nil {
		return fmt.Errorf("%s revision %d is not leaf %d of the tree of %d leaves: %w", leaf.Name, leaf.Revision, index, c.Size, err)
	}
	return nil
}

// CheckGrowth verifies a consistency proof between two checkpoints, and that what
// they say of positions and times fits it.
func CheckGrowth(p tlog.TreeProof, older, newer Checkpoint) error {
	switch {
	case older.Origin != newer.Origin:
		return fmt.Errorf("checkpoints are of two libraries, %s and %s", older.Origin, newer.Origin)
	case newer.Size < older.Size:
		return fmt.Errorf("history was rolled back: the newer checkpoint has %d leaves at position %d, the kept one %d at position %d", newer.Size, newer.Position, older.Size, older.Position)
	case older.Size < 1:
		return fmt.Errorf("checkpoint of an empty tree proves nothing about what came after; keep one of position 1 or later")
	}
	if err := tlog.CheckTree(p, newer.Size, newer.Root, older.Size, older.Root); err != nil {
		return fmt.Errorf("history behind position %d was changed: the tree of %d leaves is not its beginning: %w", newer.Position, older.Size, err)
	}
	if grew := newer.Size > older.Size; grew != (newer.Position > older.Position) || newer.Position < older.Position || newer.Time.Before(older.Time) || !grew && !newer.Time.Equal(older.Time) {
		return fmt.Errorf("checkpoints contradict each other: %d leaves at position %d, %s, but %d at position %d, %s", older.Size, older.Position, older.Time.Format(time.RFC3339Nano), newer.Size, newer.Position, newer.Time.Format(time.RFC3339Nano))
	}
	return nil
}
