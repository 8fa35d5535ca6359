package notary

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"proofload/server/ledger"
	"proofload/server/store"
)

// handoverKey begins the keys of the notes that hold the handovers, in their order.
const handoverKey = "handover-"

// Handovers returns the notes by which the library's keys handed over, the oldest first.
func (n *Notary) Handovers(ctx context.Context) ([]string, error) { return handovers(ctx, n.store) }

func handovers(ctx context.Context, s store.Store) ([]string, error) {
	notes, err := s.ListNotes(ctx, store.NoteQuery{Space: keySpace, After: handoverKey, Limit: store.MaxLimit})
	var out []string
	for _, n := range notes {
		if strings.HasPrefix(n.Key, handoverKey) {
			out = append(out, string(n.Body))
		}
	}
	return out, err
}

// Rotate makes the library another key, to which the present one hands over, and returns
// the handover. No server may have the store open: one that has goes on signing with the
// old key. The new key is kept where the old one was.
func Rotate(ctx context.Context, s store.Store, o Options, now time.Time) (string, error) {
	if _, err := Open(ctx, s, o, now); err != nil {
		return "", err
	}
	kept, err := s.GetNote(ctx, keySpace, keyName)
	if err != nil {
		return "", err
	}
	old, err := outside(ctx, s, kept, o.KeyFile, now)
	if err != nil {
		return "", err
	}
	from, err := note.NewSigner(old)
	if err != nil {
		return "", err
	}
	private, public, err := note.GenerateKey(rand.Reader, from.Name())
	if err != nil {
		return "", err
	}
	to, err := note.NewSigner(private)
	if err != nil {
		return "", err
	}
	fromKey, err := verifierKey(old)
	if err != nil {
		return "", err
	}
	signed, err := ledger.SignHandover(ledger.Handover{Origin: from.Name(), From: fromKey, To: public, Time: now}, from, to)
	if err != nil {
		return "", err
	}
	before, err := handovers(ctx, s)
	if err != nil {
		return "", err
	}
	body := private
	if o.KeyFile != "" {
		body = "public " + public
		os.Remove(o.KeyFile + nextEnd) // of a try that did not come to its end
		if err := writeKey(o.KeyFile+nextEnd, private); err != nil {
			return "", err
		}
	}
	err = s.WriteNotes(ctx, []store.NoteWrite{
		{Space: keySpace, Key: keyName, Base: kept.Version, Body: []byte(body), Time: now},
		{Space: keySpace, Key: fmt.Sprintf("%s%06d", handoverKey, len(before)+1), Body: []byte(signed), Time: now},
	})
	if err == nil && o.KeyFile != "" {
		err = settleKey(o.KeyFile)
	}
	return signed, err
}

// nextEnd is what the name of a key that is about to take over adds to its file's.
const nextEnd = ".next"

// settleKey puts the new key in the place of the old.
func settleKey(file string) error {
	if err := os.Rename(file+nextEnd, file); err != nil {
		return fmt.Errorf("signing key: %w", err)
	}
	folder, err := os.Open(filepath.Dir(file))
	if err != nil {
		return fmt.Errorf("signing key: %w", err)
	}
	return errors.Join(folder.Sync(), folder.Close())
}

// rotatedKey returns the new key where a rotation ended between the store and the file,
// "" where there is no such.
func rotatedKey(file, public string) (string, error) {
	next, err := readKey(file + nextEnd)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	if key, err := verifierKey(next); err != nil || key != public {
		return "", nil
	}
	return next, nil
}
