package audit_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/notary"
	"proofload/server/store"
	"proofload/specdata"
)

// history is what a store keeps, open to anybody who wants to forge it.
type history struct {
	revisions []*store.Revision
	tree      [][32]byte
	head      store.Head
}

func (h *history) Head(context.Context) (store.Head, error) { return h.head, nil }

// read does what a store does with a document that does not have its hash.
func (h *history) read(r *store.Revision) error {
	if hashOf(r.Document) != r.Hash {
		return fmt.Errorf("record %s revision %d: %w: its document does not have the hash it was published with", r.Name, r.Number, store.ErrCorrupt)
	}
	return nil
}

func (h *history) Log(_ context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	var out []*store.Revision
	for i, r := range h.revisions {
		if r.Position <= after || r.Position > upTo {
			continue
		}
		if len(out) >= 7 && out[len(out)-1].Position != r.Position {
			break
		}
		if err := h.read(r); err != nil {
			return nil, err
		}
		at := *r
		at.Leaf = int64(i) // as a store counts
		out = append(out, &at)
	}
	return out, nil
}

func (h *history) Leaf(_ context.Context, i int64) (*store.Revision, error) {
	if i < 0 || i >= int64(len(h.revisions)) {
		return nil, fmt.Errorf("leaf %d: %w", i, store.ErrFuture)
	}
	return h.revisions[i], h.read(h.revisions[i])
}

func (h *history) Hashes(_ context.Context, indexes []int64) ([][32]byte, error) {
	out := make([][32]byte, len(indexes))
	for i, x := range indexes {
		if x >= int64(len(h.tree)) {
			return nil, fmt.Errorf("hash %d: %w", x, store.ErrFuture)
		}
		out[i] = h.tree[x]
	}
	return out, nil
}

func hashOf(doc []byte) string {
	sum := sha256.Sum256(doc)
	return hex.EncodeToString(sum[:])
}

var epoch = time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)

// honest publishes a random history.
func honest(random *rand.Rand) *history {
	h := &history{}
	h.publish(random, 3+random.IntN(20))
	return h
}

// publish goes on with a history.
func (h *history) publish(random *rand.Rand, positions int) {
	numbers := map[specdata.Name]int64{}
	for _, r := range h.revisions {
		numbers[r.Name] = r.Number
	}
	first := h.head.Position
	for p := first + 1; p <= first+int64(positions); p++ {
		at := epoch.Add(time.Duration(p) * time.Hour)
		for range 1 + random.IntN(3) {
			name := specdata.Name(fmt.Sprintf("fasteners/nut-%c", 'a'+rune(random.IntN(6))))
			if slices.ContainsFunc(h.revisions, func(r *store.Revision) bool { return r.Name == name && r.Position == p }) {
				continue
			}
			numbers[name]++
			doc := fmt.Appendf(nil, `{"id":%q,"torque":"%d N.m"}`, name.ID(), 5+random.IntN(400))
			h.revisions = append(h.revisions, &store.Revision{
				Name: name, Number: numbers[name], Position: p, Leaf: int64(len(h.revisions)), Document: doc, Hash: hashOf(doc),
				Authors: []string{pick(random, "maud", "jo", "ana")}, Reviewer: pick(random, "ines", "per"), Reason: pick(random, "entered", "sheet 3 corrected", "typing error"), Time: at,
			})
		}
	}
	h.seal()
}

// seal makes tree and head again, as a forger does who knows how.
func (h *history) seal() {
	h.tree = nil
	read := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, x := range indexes {
			out[i] = h.tree[x]
		}
		return out, nil
	})
	for i, r := range h.revisions {
		hs, err := tlog.StoredHashesForRecordHash(int64(i), notary.LeafOf(r).Hash(), read)
		if err != nil {
			panic(err)
		}
		for _, x := range hs {
			h.tree = append(h.tree, x)
		}
	}
	h.head = store.Head{Revisions: int64(len(h.revisions))}
	if n := len(h.revisions); n > 0 {
		h.head.Position, h.head.Time = h.revisions[n-1].Position, h.revisions[n-1].Time
	}
}

// renumber makes positions and numbers follow each other again.
func (h *history) renumber() {
	numbers := map[specdata.Name]int64{}
	position, was := int64(0), int64(-1)
	for i, r := range h.revisions {
		if r.Position != was {
			was = r.Position
			position++
		}
		numbers[r.Name]++
		r.Position, r.Number, r.Leaf = position, numbers[r.Name], int64(i)
	}
	at := time.Time{}
	for _, r := range h.revisions {
		if r.Time.Before(at) {
			r.Time = at
		}
		at = r.Time
	}
}

func (h *history) clone() *history {
	out := &history{tree: slices.Clone(h.tree), head: h.head}
	for _, r := range h.revisions {
		c := *r
		c.Authors, c.Document = slices.Clone(r.Authors), slices.Clone(r.Document)
		out.revisions = append(out.revisions, &c)
	}
	return out
}

const origin = "workshop.example/demo"

// checkpoint returns the checkpoint that the history had at a position.
func (h *history) checkpoint(t testing.TB, position int64) ledger.Checkpoint {
	t.Helper()
	var m ledger.Memory
	c := ledger.Checkpoint{Origin: origin, Position: position}
	for _, r := range h.revisions {
		if r.Position > position {
			break
		}
		if err := m.Append(notary.LeafOf(r)); err != nil {
			t.Fatal(err)
		}
		c.Time = r.Time
	}
	var err error
	c.Size = m.Size()
	if c.Root, err = ledger.Root(c.Size, &m); err != nil {
		t.Fatal(err)
	}
	return c
}

func pick(random *rand.Rand, words ...string) string { return words[random.IntN(len(words))] }
