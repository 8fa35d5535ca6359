package notary

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// verifierKey returns the public key of a private one. Notes write a private key as
// PRIVATE+KEY+name+hash+data, where data is base64 of the algorithm's byte, 1, and
// the Ed25519 seed (golang.org/x/mod/sumdb/note).
func verifierKey(private string) (string, error) {
	parts := strings.SplitN(private, "+", 5) // base64 has plus signs of its own
	if len(parts) == 5 {
		seed, err := base64.StdEncoding.DecodeString(parts[4])
		if err == nil && len(seed) == 1+ed25519.SeedSize && seed[0] == 1 {
			return note.NewEd25519VerifierKey(parts[2], ed25519.NewKeyFromSeed(seed[1:]).Public().(ed25519.PublicKey))
		}
	}
	return "", errors.New("it holds no Ed25519 key")
}
