package ledger

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// A witness keeps the last tree of a library that it saw and cosigns the next one only
// where that grew from it. Anyone who asks for the word of several witnesses is shown the
// same history as everybody else, whatever the library's own key signs. The form is
// c2sp.org/tlog-cosignature, cosignature/v1.

// cosignature is the kind of signature (c2sp.org/signed-note, registry: 0x04).
const cosignature = 0x04

// Cosigner is the key of a witness.
type Cosigner struct {
	name string
	key  ed25519.PrivateKey
	now  func() time.Time
}

const cosignerPrefix = "PRIVATE+WITNESS+"

// NewCosigner makes a key for a witness of this name: the secret to keep, and the public
// key as notes write it. The error says that the name cannot be one.
func NewCosigner(name string) (secret, public string, err error) {
	if name == "" || strings.ContainsAny(name, "+ \t\r\n") || strings.ContainsRune(name, 0) || len(name) > 100 {
		return "", "", fmt.Errorf("witness %q cannot be called so; allowed: up to 100 letters, digits and marks without spaces and plus signs, like witness.example/north", name)
	}
	pub, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", "", err
	}
	return cosignerPrefix + name + "+" + base64.StdEncoding.EncodeToString(key.Seed()), cosignerKey(name, pub), nil
}

// ParseCosigner reads the secret of a witness; now is its clock.
func ParseCosigner(secret string, now func() time.Time) (*Cosigner, error) {
	rest, ok := strings.CutPrefix(strings.TrimSpace(secret), cosignerPrefix)
	name, text, two := strings.Cut(rest, "+")
	seed, err := base64.StdEncoding.Strict().DecodeString(text)
	if !ok || !two || err != nil || len(seed) != ed25519.SeedSize {
		return nil, errors.New("it holds no key of a witness; proofload witness key makes one")
	}
	return &Cosigner{name, ed25519.NewKeyFromSeed(seed), now}, nil
}

// Key returns the public key of the witness, as notes write it.
func (c *Cosigner) Key() string { return cosignerKey(c.name, c.key.Public().(ed25519.PublicKey)) }

func cosignerKey(name string, pub ed25519.PublicKey) string {
	return fmt.Sprintf("%s+%08x+%s", name, cosignerHash(name, pub), base64.StdEncoding.EncodeToString(append([]byte{cosignature}, pub...)))
}

// cosignerHash is the key id: SHA-256 of the name, a line feed, the kind and the key.
func cosignerHash(name string, pub ed25519.PublicKey) uint32 {
	sum := sha256.Sum256(append(append([]byte(name+"\n"), cosignature), pub...))
	return binary.BigEndian.Uint32(sum[:])
}

// cosigned is the message that a witness signs: when, and the text of the note.
func cosigned(at uint64, text []byte) []byte {
	return append(fmt.Appendf(nil, "cosignature/v1\ntime %d\n", at), text...)
}

// Name implements note.Signer; so do the methods below.
func (c *Cosigner) Name() string { return c.name }

func (c *Cosigner) KeyHash() uint32 {
	return cosignerHash(c.name, c.key.Public().(ed25519.PublicKey))
}

func (c *Cosigner) Sign(text []byte) ([]byte, error) {
	at := uint64(c.now().Unix())
	return append(binary.BigEndian.AppendUint64(nil, at), ed25519.Sign(c.key, cosigned(at, text))...), nil
}

// Cosign adds the witness's signature to a checkpoint that the library signed.
func (c *Cosigner) Cosign(signed []byte, library ...note.Verifier) ([]byte, error) {
	n, err := note.Open(signed, note.VerifierList(library...))
	if err != nil {
		return nil, err
	}
	n.UnverifiedSigs = nil // what others said stands in their own notes
	return note.Sign(n, c)
}

// Witness is the public key of a witness.
type Witness struct {
	name string
	key  ed25519.PublicKey
}

// ParseWitness reads the public key of a witness.
func ParseWitness(text string) (*Witness, error) {
	bad := fmt.Errorf("key %.60q is no key of a witness; proofload witness key writes one", strings.TrimSpace(text))
	name, rest, ok := strings.Cut(strings.TrimSpace(text), "+")
	hash, key, two := strings.Cut(rest, "+")
	b, err := base64.StdEncoding.Strict().DecodeString(key)
	if !ok || !two || err != nil || len(b) != 1+ed25519.PublicKeySize || b[0] != cosignature {
		return nil, bad
	}
	w := &Witness{name, b[1:]}
	if fmt.Sprintf("%08x", w.KeyHash()) != hash {
		return nil, bad
	}
	return w, nil
}

// Name implements note.Verifier; so do the methods below.
func (w *Witness) Name() string { return w.name }

func (w *Witness) KeyHash() uint32 { return cosignerHash(w.name, w.key) }

func (w *Witness) Verify(text, sig []byte) bool {
	return len(sig) == 8+ed25519.SignatureSize && ed25519.Verify(w.key, cosigned(binary.BigEndian.Uint64(sig), text), sig[8:])
}

// Seen returns when a witness cosigned a checkpoint. ok is false where it did not.
func (w *Witness) Seen(signed []byte) (at time.Time, ok bool) {
	n, err := note.Open(signed, note.VerifierList(w))
	if err != nil {
		return time.Time{}, false
	}
	for _, s := range n.Sigs {
		b, err := base64.StdEncoding.Strict().DecodeString(s.Base64)
		if err == nil && len(b) == 4+8+ed25519.SignatureSize {
			return time.Unix(int64(binary.BigEndian.Uint64(b[4:])), 0).UTC(), true
		}
	}
	return time.Time{}, false
}

// Quorum verifies that at least k of some witnesses cosigned one of some checkpoints, not
// longer ago than age (0: ever) and not in the future. The error names those who did not.
func Quorum(k int, witnesses []*Witness, checkpoints [][]byte, now time.Time, age time.Duration) error {
	var lacking []string
	said := map[string]bool{}
	for _, w := range witnesses {
		why := "did not cosign"
		for _, c := range checkpoints {
			at, ok := w.Seen(c)
			switch {
			case !ok:
			case at.After(now.Add(clockSlack)):
				why = "cosigned in the future, at " + at.Format(time.RFC3339)
			case age > 0 && now.Sub(at) > age:
				why = fmt.Sprintf("cosigned last at %s, more than %s ago", at.Format(time.RFC3339), age)
			default:
				// One key twice is one witness.
				said[string(w.key)] = true
				why = ""
			}
			if why == "" {
				break
			}
		}
		if why != "" {
			lacking = append(lacking, w.name+" "+why)
		}
	}
	if len(said) >= k {
		return nil
	}
	return fmt.Errorf("%d of %d witnesses vouch for it, %d are asked for: %s", len(said), len(witnesses), k, strings.Join(lacking, "; "))
}

// clockSlack is by how much two clocks may differ.
const clockSlack = 5 * time.Minute
