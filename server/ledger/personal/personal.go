// Package personal is people's own word: authors and reviewers sign the content of a
// correction with keys that they alone hold. Anyone who runs the server can then say
// neither that somebody wrote something nor that somebody approved it; the signed
// notes (c2sp.org/signed-note, Ed25519) are verified without the server.
package personal

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"proofload/specdata"
)

// Part is a record of a correction: its name and the hash of its document, "" where it
// is withdrawn.
type Part struct {
	Name specdata.Name `json:"name"`
	Hash string        `json:"hash"`
}

// PartOf returns the part of a record by its name as a resource.
func PartOf(name, hash string) Part { return Part{specdata.Name(name), hash} }

// Content is what a correction comes to.
type Content struct {
	Drafts   []Part   `json:"drafts"`
	Reason   string   `json:"reason"`
	Evidence []string `json:"evidence"`
}

// Bytes returns the bytes whose SHA-256 is the content hash.
func (c Content) Bytes() ([]byte, error) { return json.Marshal(c) }

// Hash returns the content hash, lower-case hex.
func (c Content) Hash() (string, error) {
	b, err := c.Bytes()
	if err != nil {
		return "", err
	}
	return HashOf(b), nil
}

// HashOf returns the content hash of the bytes of a content.
func HashOf(content []byte) string {
	h := sha256.Sum256(content)
	return hex.EncodeToString(h[:])
}

// ParseContent reads the bytes of a content and refuses any other spelling of it.
func ParseContent(b []byte) (Content, error) {
	var c Content
	if err := json.Unmarshal(b, &c); err != nil {
		return c, fmt.Errorf("signed content is not JSON of the known form: %w", err)
	}
	again, err := c.Bytes()
	if err == nil && string(again) != string(b) {
		err = errors.New("signed content is not spelled as contents are")
	}
	return c, err
}

// Role is as what somebody signs.
type Role string

// The roles: an author says "this is what I propose", a reviewer "I have checked it".
const (
	Author   Role = "author"
	Reviewer Role = "reviewer"
)

// Statement is what somebody signs.
type Statement struct {
	// Library is the name of the library, the origin of its checkpoints.
	Library string
	// Content is the content hash.
	Content string
	Role    Role
	Person  string
}

const heading = "proofload correction"

// Text returns the text that is signed.
func (s Statement) Text() string {
	return heading + "\nlibrary " + s.Library + "\ncontent " + s.Content + "\nas " + string(s.Role) + "\nperson " + s.Person + "\n"
}

// ParseStatement reads a statement's text and refuses any other spelling of it.
func ParseStatement(text string) (Statement, error) {
	var s Statement
	lines := strings.Split(text, "\n")
	if len(lines) == 6 {
		s = Statement{
			Library: strings.TrimPrefix(lines[1], "library "), Content: strings.TrimPrefix(lines[2], "content "),
			Role: Role(strings.TrimPrefix(lines[3], "as ")), Person: strings.TrimPrefix(lines[4], "person "),
		}
	}
	if s.Text() != text || s.Person == "" || s.Library == "" {
		return Statement{}, errors.New("signed text is not what people sign about a correction")
	}
	if !slices.Contains([]Role{Author, Reviewer}, s.Role) {
		return Statement{}, fmt.Errorf("signed as %q; allowed: author, reviewer", specdata.Shorten(string(s.Role)))
	}
	return s, nil
}

// KeyName returns the name that the key of a person has: theirs, with points for spaces.
// The error says why a key can have no such name.
func KeyName(person string) (string, error) {
	name := strings.Join(strings.Fields(person), ".")
	if name == "" || strings.Contains(name, "+") || len(name) > 200 || specdata.UnseenError("person", person) != nil {
		return "", fmt.Errorf("person %q cannot be the name of a key; allowed: letters, digits, spaces and marks but +", specdata.Shorten(person))
	}
	return name, nil
}

// NewKey makes a person a key. The private one is theirs alone.
func NewKey(person string) (private, public string, err error) {
	name, err := KeyName(person)
	if err != nil {
		return "", "", err
	}
	return note.GenerateKey(rand.Reader, name)
}

// Sign signs a statement.
func Sign(s Statement, private string) (string, error) {
	if _, err := ParseStatement(s.Text()); err != nil {
		return "", err
	}
	signer, err := note.NewSigner(strings.TrimSpace(private))
	if err != nil {
		return "", errors.New("it holds no signing key; proofload key new makes one")
	}
	name, err := KeyName(s.Person)
	if err != nil {
		return "", err
	}
	if signer.Name() != name {
		return "", fmt.Errorf("key is of %s, the token of %s; sign with your own key", signer.Name(), s.Person)
	}
	signed, err := note.Sign(&note.Note{Text: s.Text()}, signer)
	return string(signed), err
}

// Read returns what a signed note says and the names of the keys that are said to have
// signed it, without proving that they did.
func Read(signed string) (Statement, []string, error) {
	_, err := note.Open([]byte(signed), note.VerifierList())
	var unverified *note.UnverifiedNoteError
	if !errors.As(err, &unverified) {
		return Statement{}, nil, fmt.Errorf("it is no signed note: %w", err)
	}
	s, err := ParseStatement(unverified.Note.Text)
	var names []string
	for _, sig := range unverified.Note.UnverifiedSigs {
		names = append(names, sig.Name)
	}
	return s, names, err
}

// Open verifies a signed note with a person's public key and returns what it says. The
// error says that the key did not sign it, or is another person's.
func Open(signed, public string) (Statement, error) {
	v, err := note.NewVerifier(strings.TrimSpace(public))
	if err != nil {
		return Statement{}, errors.New("it is no public key of a person; proofload key new writes one")
	}
	n, err := note.Open([]byte(signed), note.VerifierList(v))
	if err != nil {
		return Statement{}, fmt.Errorf("it is not signed with the key of %s", v.Name())
	}
	s, err := ParseStatement(n.Text)
	if err != nil {
		return Statement{}, err
	}
	if name, err := KeyName(s.Person); err != nil || name != v.Name() {
		return Statement{}, fmt.Errorf("the key of %s signed as %s", v.Name(), s.Person)
	}
	return s, nil
}

// Vouched verifies that the people of a proved revision signed it with their keys: that
// the content they signed holds its document, and that every author and the reviewer,
// of those whose keys are given, signed in their role. It returns who did, with the role.
// The error says what is not so.
func Vouched(name, document string, withdrawn bool, authors []string, reviewer, library string, content []byte, notes, keys []string) ([]Statement, error) {
	c, err := ParseContent(content)
	if len(content) == 0 {
		err = fmt.Errorf("%s comes without signatures of people", name)
	}
	if err != nil {
		return nil, err
	}
	want := Part{specdata.Name(name), document}
	if withdrawn {
		want.Hash = ""
	}
	if !slices.Contains(c.Drafts, want) {
		return nil, fmt.Errorf("content that people signed does not hold %s as it is proved", name)
	}
	hash := HashOf(content)
	var out []Statement
	for _, key := range keys {
		v, err := note.NewVerifier(strings.TrimSpace(key))
		if err != nil {
			return nil, errors.New("a key is no public key of a person; proofload key new writes one")
		}
		found := false
		for _, n := range notes {
			s, err := Open(n, key)
			if err != nil {
				continue // by somebody else
			}
			role := s.Role == Author && slices.Contains(authors, s.Person) || s.Role == Reviewer && s.Person == reviewer
			if s.Content == hash && s.Library == library && role {
				found, out = true, append(out, s)
			}
		}
		if !found {
			return nil, fmt.Errorf("%s is not signed with the key of %s, as its author or reviewer", name, v.Name())
		}
	}
	// Somebody who both wrote and reviewed has one key, and owes both.
	for _, s := range out {
		if s.Person == reviewer && !slices.ContainsFunc(out, func(o Statement) bool { return o.Person == reviewer && o.Role == Reviewer }) {
			return nil, fmt.Errorf("%s is not signed by %s as its reviewer", name, reviewer)
		}
	}
	return out, nil
}
