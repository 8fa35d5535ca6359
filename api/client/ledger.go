package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	pb "proofload/api/proofload/v1"
)

// ErrNotProved says that what a server answered is not proved: it contradicts a kept
// checkpoint, or another key signed it. Keep the checkpoint; do not use the values.
var ErrNotProved = errors.New("not proved")

// Follow returns the newest checkpoint, a signed note to keep, once it is proved that
// the history it names grew from the one that kept names; kept is nil the first time.
// key is the library's verifier key, learned elsewhere. The error is an ErrNotProved
// where the server's history is not a continuation, or one of the connection.
func (c *Client) Follow(ctx context.Context, key string, kept []byte) ([]byte, error) {
	v, err := note.NewVerifier(key)
	if err != nil {
		return nil, fmt.Errorf("verifier key %q: %w", key, err)
	}
	answer, err := c.Ledger.GetCheckpoint(ctx, &pb.GetCheckpointRequest{Name: "checkpoints/newest"})
	if err != nil {
		return nil, err
	}
	newest, err := openTree([]byte(answer.Note), v)
	if err != nil || kept == nil {
		return []byte(answer.Note), err
	}
	older, err := openTree(kept, v)
	switch {
	case err != nil:
		return nil, fmt.Errorf("kept checkpoint: %w", err)
	case newest.size < older.size:
		return nil, fmt.Errorf("server shows %d leaves, the kept checkpoint %d: %w", newest.size, older.size, ErrNotProved)
	}
	g, err := c.Ledger.GetGrowth(ctx, &pb.GetGrowthRequest{Name: answer.Name + "/growth", FromSize: older.size})
	if err != nil {
		return nil, err
	}
	if err := grew(g, older, newest); err != nil {
		return nil, err
	}
	return []byte(answer.Note), nil
}

// Prove verifies that a canonical document, as Specs.GetDocument gives it, is what
// was published as a revision ("fasteners/hub-nut/revisions/2"), and that the history
// it is proved in grew from a kept checkpoint; kept is nil where none is kept. The
// error is an ErrNotProved where it is not so, or one of the connection.
func (c *Client) Prove(ctx context.Context, key string, kept []byte, revision string, document []byte) error {
	v, err := note.NewVerifier(key)
	if err != nil {
		return fmt.Errorf("verifier key %q: %w", key, err)
	}
	var older tree
	if kept != nil {
		if older, err = openTree(kept, v); err != nil {
			return fmt.Errorf("kept checkpoint: %w", err)
		}
	}
	p, err := c.Ledger.GetProof(ctx, &pb.GetProofRequest{Name: revision + "/proof", FromSize: older.size})
	if err != nil {
		return err
	}
	newest, err := openTree([]byte(p.Checkpoint), v)
	if err != nil {
		return err
	}
	hashes, err := hashesOf(p.Hashes)
	if err != nil {
		return err
	}
	if err := tlog.CheckRecord(hashes, newest.size, newest.root, p.LeafIndex, tlog.RecordHash(p.Leaf)); err != nil {
		return fmt.Errorf("%s is not in the ledger: %w: %w", revision, ErrNotProved, err)
	}
	var leaf struct {
		Name     string
		Revision string
		Document string
	}
	if err := json.Unmarshal(p.Leaf, &leaf); err != nil {
		return fmt.Errorf("leaf of %s: %w: %w", revision, ErrNotProved, err)
	}
	sum := sha256.Sum256(document)
	switch {
	case leaf.Name+"/revisions/"+leaf.Revision != revision:
		return fmt.Errorf("%w: proof is of %s revision %s, asked was for %s", ErrNotProved, leaf.Name, leaf.Revision, revision)
	case leaf.Document != hex.EncodeToString(sum[:]):
		return fmt.Errorf("%w: document is not that of %s", ErrNotProved, revision)
	case kept == nil:
		return nil
	case newest.size == older.size:
		return same(older, newest)
	}
	return grew(p.Growth, older, newest)
}

// tree is what a checkpoint names (c2sp.org/tlog-checkpoint).
type tree struct {
	origin string
	size   int64
	root   tlog.Hash
}

func openTree(signed []byte, v note.Verifier) (t tree, err error) {
	n, err := note.Open(signed, note.VerifierList(v))
	if err != nil {
		return t, fmt.Errorf("checkpoint is not signed by %s: %w: %w", v.Name(), ErrNotProved, err)
	}
	lines := strings.SplitN(n.Text, "\n", 4)
	if len(lines) < 4 {
		return t, fmt.Errorf("checkpoint of %s has %d lines: %w", v.Name(), len(lines), ErrNotProved)
	}
	t.origin = lines[0]
	if t.size, err = strconv.ParseInt(lines[1], 10, 64); err != nil || t.size < 1 {
		return t, fmt.Errorf("checkpoint of %s has the size %q: %w", v.Name(), lines[1], ErrNotProved)
	}
	if t.root, err = tlog.ParseHash(lines[2]); err != nil {
		return t, fmt.Errorf("checkpoint of %s has the root %q: %w", v.Name(), lines[2], ErrNotProved)
	}
	return t, nil
}

func same(a, b tree) error {
	if a != b {
		return fmt.Errorf("two checkpoints of %d leaves differ, the signer told two histories: %w", a.size, ErrNotProved)
	}
	return nil
}

func grew(g *pb.Growth, older, newest tree) error {
	hashes, err := hashesOf(g.GetHashes())
	switch {
	case err != nil:
		return err
	case older.origin != newest.origin:
		return fmt.Errorf("checkpoints are of %s and of %s: %w", older.origin, newest.origin, ErrNotProved)
	case older.size == newest.size:
		return same(older, newest)
	}
	if err := tlog.CheckTree(hashes, newest.size, newest.root, older.size, older.root); err != nil {
		return fmt.Errorf("history of %d leaves did not grow from the kept %d: %w: %w", newest.size, older.size, ErrNotProved, err)
	}
	return nil
}

func hashesOf(in [][]byte) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(in))
	for i, b := range in {
		if len(b) != tlog.HashSize {
			return nil, fmt.Errorf("proof has a hash of %d bytes: %w", len(b), ErrNotProved)
		}
		out[i] = tlog.Hash(b)
	}
	return out, nil
}
