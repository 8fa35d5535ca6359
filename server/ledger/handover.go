package ledger

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// Handover says that a library signs with another key from now on. Both keys sign it:
// the old one, so that anyone who knows that may trust the new, and the new one, so that
// nobody hands a library over to a key that is not theirs.
type Handover struct {
	Origin string
	// From and To are the public keys, as notes write them.
	From, To string
	Time     time.Time
}

const handoverHeading = "proofload key handover"

// Text returns the text that is signed.
func (h Handover) Text() string {
	return fmt.Sprintf("%s\nlibrary %s\nfrom %s\nto %s\ntime %s\n", handoverHeading, h.Origin, h.From, h.To, h.Time.UTC().Format(time.RFC3339))
}

// SignHandover returns the note by which one key hands over to another.
func SignHandover(h Handover, from, to note.Signer) (string, error) {
	if from.KeyHash() == to.KeyHash() {
		return "", errors.New("a key is not handed over to itself")
	}
	b, err := note.Sign(&note.Note{Text: h.Text()}, from, to)
	return string(b), err
}

// openHandover verifies a handover from a key that is known.
func openHandover(signed string, known note.Verifier, knownText string) (to string, v note.Verifier, err error) {
	n, err := note.Open([]byte(signed), note.VerifierList(known))
	if err != nil {
		return "", nil, fmt.Errorf("it is not signed with %s", knownText)
	}
	lines := strings.Split(n.Text, "\n")
	if len(lines) != 6 {
		return "", nil, errors.New("it is no handover of a key")
	}
	h := Handover{Origin: strings.TrimPrefix(lines[1], "library "), From: strings.TrimPrefix(lines[2], "from "), To: strings.TrimPrefix(lines[3], "to ")}
	if h.Time, err = time.Parse(time.RFC3339, strings.TrimPrefix(lines[4], "time ")); err != nil || h.Text() != n.Text {
		return "", nil, errors.New("it is no handover of a key")
	}
	v, err = note.NewVerifier(h.To)
	switch {
	case err != nil:
		return "", nil, fmt.Errorf("it hands over to %.80q, which is no key", h.To)
	case h.From != knownText:
		return "", nil, fmt.Errorf("it is from %s, not from %s", h.From, knownText)
	case h.Origin != known.Name() || v.Name() != known.Name():
		return "", nil, errors.New("it hands over to another library")
	}
	if _, err := note.Open([]byte(signed), note.VerifierList(v)); err != nil {
		return "", nil, errors.New("the new key did not sign it")
	}
	return h.To, v, nil
}

// Follow returns the keys of a library, as notes write them and the newest first, that
// follow from a known one by handovers. What does not follow from it is not in the list.
func Follow(known string, handovers []string) ([]string, error) {
	v, err := note.NewVerifier(known)
	if err != nil {
		return nil, fmt.Errorf("key %.80q is no key of a library", known)
	}
	keys := []string{known}
	for moved := true; moved; {
		moved = false
		for _, h := range handovers {
			to, next, err := openHandover(h, v, keys[0])
			if err != nil || slices.Contains(keys, to) {
				continue
			}
			keys, v, moved = slices.Insert(keys, 0, to), next, true
			break
		}
	}
	return keys, nil
}
