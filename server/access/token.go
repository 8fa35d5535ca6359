package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"proofload/server/fault"
	"proofload/specdata"
)

// Role is something a token allows. Every token allows reading.
type Role string

// The roles. They do not contain each other: an administrator who is to review is
// given both roles.
const (
	Reader   Role = "reader"
	Editor   Role = "editor"   // proposes, amends and withdraws corrections
	Reviewer Role = "reviewer" // approves, rejects and publishes them
	Admin    Role = "admin"    // gives tokens out and takes them back
)

// Roles lists the roles.
var Roles = []Role{Reader, Editor, Reviewer, Admin}

// Token is what is kept of a token: everything but its secret.
type Token struct {
	// ID names it in listings; it is the start of the secret's hash.
	ID string `json:"id"`
	// Person is whom it was given to, as revisions name them. Two tokens of one
	// person are one person.
	Person  string    `json:"person"`
	Roles   []Role    `json:"roles"`
	Created time.Time `json:"created"`
	// Expires is zero for a token that does not, Revoked for one that was not.
	Expires time.Time `json:"expires,omitzero"`
	Revoked time.Time `json:"revoked,omitzero"`
	// By is the id of the token whose holder gave it out, RevokedBy of the one who took
	// it back; "" is somebody at the console of the server, or the server at its start.
	By        string `json:"by,omitempty"`
	RevokedBy string `json:"revoked_by,omitempty"`
	// Second is the id of the other administrator's token, where two were needed.
	Second string `json:"second,omitempty"`
	// Giver, SecondGiver and Revoker are the people of these tokens.
	Giver string `json:"giver,omitempty"`
	// First says that the server gave it out at its start, as one of a new store's first.
	First       bool   `json:"first,omitempty"`
	SecondGiver string `json:"second_giver,omitempty"`
	Revoker     string `json:"revoker,omitempty"`

	// keys and key are where the token was found, so that it can be looked up again.
	keys *Keys
	key  string
}

// live reports whether the token can be used at a time.
func (t *Token) live(now time.Time) bool { return t.usable(now) == nil }

// Has reports whether the token has a role; nobody has none.
func (t *Token) Has(r Role) bool { return t != nil && slices.Contains(t.Roles, r) }

// secretPrefix lets scanners of repositories and logs find a token that leaked.
const secretPrefix = "plt_"

// secretBytes is 160 bits: guessing is hopeless, and base32 needs no padding.
const secretBytes = 20

var secretText = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// secretLength is the length of every secret as text.
var secretLength = len(secretPrefix) + secretText.EncodedLen(secretBytes)

func newSecret() string {
	var b [secretBytes]byte
	rand.Read(b[:]) // it never fails, by its contract
	return secretPrefix + secretText.EncodeToString(b[:])
}

// keyOf is the hash under which a secret's token is kept.
func keyOf(secret string) string {
	h := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(h[:])
}

// idLength is how much of the hash names a token: 12 hex digits tell millions apart.
const idLength = 12

// maxPerson bounds a name, in characters.
const maxPerson = 100

// validate says what is wrong with the person, the roles or the end of a new token.
func validate(person string, roles []Role, expires, now time.Time) error {
	switch {
	case !utf8.ValidString(person) || strings.ContainsFunc(person, func(r rune) bool { return !unicode.IsPrint(r) }):
		return fault.Field("person", "person %q is not plain text; write the name of a person", person)
	case specdata.UnseenError("person", person) != nil:
		return fault.Field("person", "%v", specdata.UnseenError("person", person))
	case strings.Join(strings.Fields(person), " ") != person || person == "" || utf8.RuneCountInString(person) > maxPerson:
		return fault.Field("person", "person %q has %d characters; allowed: 1 to %d, single spaces between words and none at the ends", person, utf8.RuneCountInString(person), maxPerson)
	case !strings.ContainsFunc(person, unicode.IsLetter):
		return fault.Field("person", "person %q has no letter; write the name of a person", person)
	case len(roles) == 0:
		return fault.Field("roles", "roles are empty; give one or more of %s", roleNames(Roles))
	case !expires.IsZero() && !expires.After(now):
		return fault.Field("expire_time", "expire_time %s is past; give a later one, or none", expires.UTC().Format(time.RFC3339))
	}
	for i, r := range roles {
		switch {
		case !slices.Contains(Roles, r):
			return fault.Field("roles", "role %q does not exist; allowed: %s", string(r), roleNames(Roles))
		case slices.Contains(roles[:i], r):
			return fault.Field("roles", "role %s is given twice; give it once", r)
		}
	}
	return nil
}

func roleNames(roles []Role) string {
	names := make([]string, len(roles))
	for i, r := range roles {
		names[i] = string(r)
	}
	return strings.Join(names, ", ")
}

// usable says why a token that exists cannot be used now, or nil.
func (t *Token) usable(now time.Time) error {
	switch {
	case !t.Revoked.IsZero():
		return fault.New(fault.TokenInvalid, "token %s was revoked on %s; ask an administrator for another", t.ID, t.Revoked.Format(time.DateOnly)).With("token", t.ID)
	case !t.Expires.IsZero() && !t.Expires.After(now):
		return fault.New(fault.TokenInvalid, "token %s expired on %s; ask an administrator for another", t.ID, t.Expires.Format(time.RFC3339)).With("token", t.ID)
	}
	return nil
}

// String never shows a secret: there is none to show.
func (t *Token) String() string { return fmt.Sprintf("token %s of %s", t.ID, t.Person) }
