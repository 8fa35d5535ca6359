package rfc6962

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// keyType is the signature type of Ed25519 (c2sp.org/signed-note, "Signature types").
const keyType = 0x01

// OpenNote verifies a note that a verifier key "<name>+<hash>+<key>" signed, and
// gives its text (c2sp.org/signed-note).
func OpenNote(note []byte, verifier string) (string, error) {
	name, key, id, err := parseKey(verifier)
	if err != nil {
		return "", err
	}
	if !utf8.Valid(note) || bytes.ContainsFunc(note, func(r rune) bool { return r < ' ' && r != '\n' }) {
		return "", errors.New("note is not plain text")
	}
	at := bytes.LastIndex(note, []byte("\n\n"))
	if at < 0 {
		return "", errors.New("note has no signatures")
	}
	text, lines := note[:at+1], string(note[at+2:])
	if !strings.HasSuffix(lines, "\n") {
		return "", errors.New("note does not end in a newline")
	}
	for line := range strings.SplitSeq(strings.TrimSuffix(lines, "\n"), "\n") {
		rest, ok := strings.CutPrefix(line, "— ")
		signer, encoded, two := strings.Cut(rest, " ")
		if !ok || !two {
			return "", fmt.Errorf("line %q is no signature", line)
		}
		sig, err := base64.StdEncoding.Strict().DecodeString(encoded)
		if err != nil {
			return "", err
		}
		if signer != name || len(sig) != 4+ed25519.SignatureSize || !bytes.Equal(sig[:4], id) {
			continue // another's
		}
		if !ed25519.Verify(key, text, sig[4:]) {
			return "", errors.New("signature is wrong")
		}
		return string(text), nil
	}
	return "", errors.New("note is not signed by " + name)
}

func parseKey(verifier string) (name string, key ed25519.PublicKey, id []byte, err error) {
	name, rest, _ := strings.Cut(verifier, "+")
	hash, encoded, _ := strings.Cut(rest, "+")
	typed, err := base64.StdEncoding.DecodeString(encoded)
	if err != nil || len(typed) != 1+ed25519.PublicKeySize || typed[0] != keyType {
		return "", nil, nil, fmt.Errorf("verifier key %q is no Ed25519 key", verifier)
	}
	// key ID = SHA-256(key name || 0x0A || signature type || public key)[:4]
	sum := sha256.Sum256(append([]byte(name+"\n"), typed...))
	if hash != hex.EncodeToString(sum[:4]) {
		return "", nil, nil, fmt.Errorf("verifier key %q does not have the id it says", verifier)
	}
	return name, typed[1:], sum[:4], nil
}
