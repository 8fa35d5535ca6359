package notary

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"proofload/server/store"
)

// outside returns the signing key: the one in the store, or where a file is named the
// one in that. A key that is in the store and not in the file yet moves there, and the
// store keeps the public key, by which the file's is known again.
func outside(ctx context.Context, s store.Store, kept *store.Note, file string, now time.Time) (string, error) {
	h, err := find(string(kept.Body), file)
	switch {
	case err != nil:
		return "", err
	case h.rotated:
		return h.private, settleKey(file)
	case !h.move:
		return h.private, nil
	case h.write:
		if err := writeKey(file, h.private); err != nil {
			return "", err
		}
	}
	err = s.WriteNotes(ctx, []store.NoteWrite{{Space: keySpace, Key: keyName, Base: kept.Version, Body: []byte("public " + h.public), Time: now}})
	if errors.Is(err, store.ErrConflict) {
		err = nil // another node moved it
	}
	return h.private, err
}

// held is a signing key, and what is to be done before it signs.
type held struct {
	private, public string
	// move says that the key leaves the store, write that its file is still to be
	// written, rotated that the next key's file takes the place of the old one's.
	move, write, rotated bool
}

// find returns the signing key of a library, whose store keeps inStore: the private key,
// or the public one where a file has the private. It changes nothing.
func find(inStore, file string) (held, error) {
	public, moved := strings.CutPrefix(inStore, "public ")
	if file == "" {
		if moved {
			return held{}, fmt.Errorf("signing key of the library is not in its store; name its file with --key (its public key is %s)", public)
		}
		return held{private: inStore}, nil
	}
	if !moved {
		var err error
		if public, err = verifierKey(inStore); err != nil {
			return held{}, fmt.Errorf("note %s/%s: %w: %w", keySpace, keyName, store.ErrCorrupt, err)
		}
	}
	private, err := readKey(file)
	switch {
	case errors.Is(err, fs.ErrNotExist) && moved:
		return held{}, fmt.Errorf("signing key %s is not there; the library's public key is %s, without its key nothing can be signed", file, public)
	case errors.Is(err, fs.ErrNotExist):
		return held{private: inStore, public: public, move: true, write: true}, nil
	case err != nil:
		return held{}, err
	}
	key, err := verifierKey(private)
	if err != nil {
		return held{}, fmt.Errorf("signing key %s: %w; name the file that --key made", file, err)
	}
	if key != public {
		if next, err := rotatedKey(file, public); next != "" || err != nil {
			return held{private: next, public: public, rotated: true}, err
		}
		return held{}, fmt.Errorf("signing key %s is of another library: its public key is %s, this library's is %s", file, key, public)
	}
	return held{private: private, public: public, move: !moved}, nil
}

// CheckKey returns what would keep a server of the store from signing with the key in a
// file, or where file is "" with the one in the store: nil where nothing would. It
// changes nothing.
func CheckKey(ctx context.Context, s store.Store, file string) error {
	kept, err := s.GetNote(ctx, keySpace, keyName)
	switch {
	case err == nil:
		_, err = find(string(kept.Body), file)
		return err
	case !errors.Is(err, store.ErrNotFound):
		return err
	case file == "":
		return nil
	}
	if _, err := readKey(file); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fmt.Errorf("signing key %s is there before its library, which makes a key of its own; name a file that is not there", file)
		}
		return err
	}
	return nil
}

func readKey(file string) (string, error) {
	info, err := os.Stat(file)
	if err != nil {
		return "", err
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return "", fmt.Errorf("signing key %s: others may open it (mode %04o); make it 0600, and the key another one if they may have read it", file, info.Mode().Perm())
	}
	b, err := os.ReadFile(file)
	return strings.TrimSpace(string(b)), err
}

// writeKey writes a key to a new file that only its owner may open, and to the disk.
func writeKey(file, key string) error {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("signing key: %w", err)
	}
	_, err = f.WriteString(key + "\n")
	err = errors.Join(err, f.Sync(), f.Close())
	if folder, openErr := os.Open(filepath.Dir(file)); err == nil && openErr == nil {
		err = errors.Join(folder.Sync(), folder.Close())
	}
	return err
}
