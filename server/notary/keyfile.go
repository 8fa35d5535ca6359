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
	inStore := string(kept.Body)
	public, moved := strings.CutPrefix(inStore, "public ")
	if file == "" {
		if moved {
			return "", fmt.Errorf("signing key of the library is not in its store; name its file with --key (its public key is %s)", public)
		}
		return inStore, nil
	}
	private, err := readKey(file)
	switch {
	case errors.Is(err, fs.ErrNotExist) && moved:
		return "", fmt.Errorf("signing key %s is not there; the library's public key is %s, without its key nothing can be signed", file, public)
	case errors.Is(err, fs.ErrNotExist):
		if err := writeKey(file, inStore); err != nil {
			return "", err
		}
		private = inStore
	case err != nil:
		return "", err
	}
	key, err := verifierKey(private)
	if err != nil {
		return "", fmt.Errorf("signing key %s: it holds no key: %w", file, err)
	}
	if !moved {
		if public, err = verifierKey(inStore); err != nil {
			return "", err
		}
	}
	if key != public {
		if next, err := finishRotation(file, public); next != "" || err != nil {
			return next, err
		}
		return "", fmt.Errorf("signing key %s is of another library: its public key is %s, this library's is %s", file, key, public)
	}
	if moved {
		return private, nil
	}
	err = s.WriteNotes(ctx, []store.NoteWrite{{Space: keySpace, Key: keyName, Base: kept.Version, Body: []byte("public " + public), Time: now}})
	if errors.Is(err, store.ErrConflict) {
		err = nil // another node moved it
	}
	return private, err
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
