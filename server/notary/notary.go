// Package notary vouches for a store's history: it holds the signing key and makes
// checkpoints and proofs of what the store published.
//
// The key is made when a library first starts and is kept in the store itself, as
// the note keys/ledger, so that every copy and every node of a library has the same
// identity and no second file can be lost. It follows that anyone who can read the
// store's file, or a backup of it, can sign in the library's name: keep both as you
// would keep a key. Options.KeyFile keeps it in a file of its own instead, and leaves
// the public key in the store. No interface gives the key out.
package notary

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/fault"
	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/specdata"
)

// Where the key is kept.
const (
	keySpace = "keys"
	keyName  = "ledger"
)

// Notary signs for one store. All methods may be called from many goroutines.
type Notary struct {
	store  store.Store
	signer note.Signer
	key    string
}

// Options say which library a notary signs for, and with what.
type Options struct {
	// Origin names the library for ever: where it is empty a name is made up.
	Origin string
	// KeyFile is the file that holds the signing key, "" where the store does.
	KeyFile string
}

// Open returns the notary of a store and makes its key where it has none yet. An origin
// that is not the one the key was made with is refused, and so is the key of another
// library. Where a key file is named, a key that is in the store moves there.
func Open(ctx context.Context, s store.Store, o Options, now time.Time) (*Notary, error) {
	kept, err := s.GetNote(ctx, keySpace, keyName)
	if errors.Is(err, store.ErrNotFound) {
		kept, err = create(ctx, s, o.Origin, now)
	}
	if err != nil {
		return nil, err
	}
	origin := o.Origin
	private, err := outside(ctx, s, kept, o.KeyFile, now)
	if err != nil {
		return nil, err
	}
	signer, err := note.NewSigner(private)
	if err != nil {
		return nil, fmt.Errorf("note %s/%s: %w: it holds no signing key", keySpace, keyName, store.ErrCorrupt)
	}
	if origin != "" && origin != signer.Name() {
		return nil, fmt.Errorf("library is called %s since its first start, not %s; leave the origin out, or start another library", signer.Name(), origin)
	}
	key, err := verifierKey(private)
	if err != nil {
		return nil, fmt.Errorf("note %s/%s: %w: %w", keySpace, keyName, store.ErrCorrupt, err)
	}
	return &Notary{s, signer, key}, nil
}

// create makes the key, or takes the one that another node made meanwhile.
func create(ctx context.Context, s store.Store, origin string, now time.Time) (*store.Note, error) {
	if origin == "" {
		var b [8]byte
		rand.Read(b[:])
		origin = "library-" + hex.EncodeToString(b[:])
	}
	if err := ValidOrigin(origin); err != nil {
		return nil, err
	}
	private, _, err := note.GenerateKey(rand.Reader, origin)
	if err != nil {
		return nil, err
	}
	err = s.WriteNotes(ctx, []store.NoteWrite{{Space: keySpace, Key: keyName, Body: []byte(private), Time: now}})
	if err != nil && !errors.Is(err, store.ErrConflict) {
		return nil, err
	}
	return s.GetNote(ctx, keySpace, keyName)
}

// ValidOrigin says whether a library may be called so, or nil: up to 100 letters,
// digits and marks without spaces and plus signs, like "workshop.example/torque".
func ValidOrigin(origin string) error {
	if origin == "" || len(origin) > 100 || strings.ContainsRune(origin, '+') || strings.ContainsFunc(origin, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) || r > unicode.MaxASCII }) {
		return fmt.Errorf("origin %q is no name of a library; allowed: up to 100 letters, digits and marks without spaces and plus signs, like workshop.example/torque", origin)
	}
	return nil
}

// Origin is the library's name.
func (n *Notary) Origin() string { return n.signer.Name() }

// Key is the public key, as notes write it.
func (n *Notary) Key() string { return n.key }

// Hashes reads the stored hashes of a store's tree.
func Hashes(ctx context.Context, s store.Store) ledger.Hashes {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		stored, err := s.Hashes(ctx, indexes)
		if err != nil {
			return nil, err
		}
		out := make([]tlog.Hash, len(stored))
		for i, h := range stored {
			out[i] = h
		}
		return out, nil
	})
}

// LeafOf returns the leaf of a stored revision.
func LeafOf(r *store.Revision) ledger.Leaf {
	return ledger.NewLeaf(r.Name, r.Number, r.Position, r.Hash, r.Withdrawn, r.Authors, r.Reviewer, r.Reason, r.Time)
}

// Checkpoint returns the checkpoint of a published position, signed. The same position
// gives the same bytes, always. Position 0, an empty library, has none: MomentNotFound.
func (n *Notary) Checkpoint(ctx context.Context, position int64) (ledger.Checkpoint, []byte, error) {
	head, err := n.store.HeadAt(ctx, position)
	if err != nil {
		return ledger.Checkpoint{}, nil, err
	}
	if head.Revisions < 1 {
		return ledger.Checkpoint{}, nil, fault.New(fault.MomentNotFound, "library is empty; it has a checkpoint from its first publication on").With("position", "0")
	}
	root, err := ledger.Root(head.Revisions, Hashes(ctx, n.store))
	if err != nil {
		return ledger.Checkpoint{}, nil, err
	}
	c := ledger.Checkpoint{Origin: n.Origin(), Size: head.Revisions, Root: root, Position: head.Position, Time: head.Time}
	signed, err := ledger.Sign(c, n.signer)
	return c, signed, err
}

// Vouch signs a text that is no checkpoint, in the library's name.
func (n *Notary) Vouch(text string) ([]byte, error) {
	return note.Sign(&note.Note{Text: text}, n.signer)
}

// Growth proves the growth of the tree from a number of leaves to a checkpoint's.
func (n *Notary) Growth(ctx context.Context, from int64, to ledger.Checkpoint) (*ledger.Growth, error) {
	if from < 1 || from > to.Size {
		return nil, fault.Field("from_size", "from_size %d is not of a tree that grew into the one of position %d; allowed: 1 to %d", from, to.Position, to.Size)
	}
	hashes, err := ledger.ProveGrowth(from, to.Size, Hashes(ctx, n.store))
	if err != nil {
		return nil, err
	}
	return &ledger.Growth{From: from, Hashes: hashes}, nil
}

// Prove proves that a revision is in the tree of a checkpoint. The proof is checked
// before it is given: a store that is damaged answers ErrCorrupt.
func (n *Notary) Prove(ctx context.Context, name specdata.Name, number int64, in ledger.Checkpoint) (*store.Revision, *ledger.Proof, error) {
	r, err := n.store.GetRevision(ctx, name, number)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, nil, fault.New(fault.RecordNotFound, "record %s has no revision %d", name, number).With("record", string(name)).With("revision", fmt.Sprint(number)).Because(err)
	case err != nil:
		return nil, nil, err
	case r.Position > in.Position:
		return nil, nil, fault.New(fault.RecordNotFound, "record %s revision %d was published at position %d, behind the moment asked for, %d", name, number, r.Position, in.Position).
			With("record", string(name)).With("revision", fmt.Sprint(number)).With("position", fmt.Sprint(r.Position))
	}
	hashes, err := ledger.ProveLeaf(in.Size, r.Leaf, Hashes(ctx, n.store))
	if err != nil {
		return nil, nil, err
	}
	leaf := LeafOf(r)
	if err := ledger.CheckLeaf(hashes, in, r.Leaf, leaf); err != nil {
		return nil, nil, fmt.Errorf("%w: %v; restore the store from a backup", store.ErrCorrupt, err)
	}
	return r, &ledger.Proof{Leaf: leaf.Bytes(), Index: r.Leaf, Hashes: slices.Clip(hashes)}, nil
}
