package sheet

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"

	"proofload/specdata"
)

// Code names one printed sheet in few letters: "PL-15MZ-7K2Q-9RXD". It says from
// which position of the library and from which revision of the procedure the sheet
// was made, and carries the beginning of a hash over everything it was made from.
//
// The letters are those of Crockford's base 32, which has no I, L, O and U; what
// looks alike is taken for the same. The last letter is a check: it tells a typing
// error from a code that is unknown.
type Code struct {
	// Position is the position the values were read at, from 1.
	Position int64
	// Leaf is the index in the ledger of the procedure's revision.
	Leaf int64
	// digest is the hash's beginning, in letters.
	digest string
}

// Used is a record that a sheet was made from.
type Used struct {
	Name specdata.Name
	// Hash is the SHA-256 of its canonical document, lower-case hex.
	Hash string
}

// ErrMistyped says that a code cannot have been printed as it is.
var ErrMistyped = errors.New("sheet code is mistyped")

const (
	prefix  = "PL"
	letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	group   = 4
	// leastDigest letters of 5 bits: a sheet of other values has the same code by
	// chance once in 2^40.
	leastDigest = 8
	// largest bounds the numbers so that the whole stays shorter than the 31 letters
	// up to which the check letter distinguishes any two swapped letters.
	largest = 1<<36 - 1
)

// Code returns the code of a sheet that the library with an origin prints. leaf is the
// index of the procedure's revision in its ledger. It fails for a sheet that was not
// made at a position.
func (s *Sheet) Code(origin string, leaf int64) (Code, error) {
	position := s.For.Moment().Position
	if position < 1 || position > largest || leaf < 0 || leaf > largest {
		return Code{}, fmt.Errorf("sheet of %s at position %d, leaf %d has no code; only what a library published has one", s.Procedure, position, leaf)
	}
	c := Code{Position: position, Leaf: leaf}
	h := sha256.New()
	fmt.Fprintf(h, "proofload sheet 1\nlibrary %s\nposition %d\nleaf %d\nprocedure %s\nvariant %s\nside %s\n", origin, position, leaf, s.Procedure, s.Variant, s.For.Side())
	for _, u := range s.Uses {
		fmt.Fprintf(h, "%s %s\n", u.Name, u.Hash)
	}
	c.digest = lettersOf(h.Sum(nil), c.digestLength())
	return c, nil
}

// digestLength fills the last group.
func (c Code) digestLength() int {
	n := len(number(c.Position)) + len(number(c.Leaf)) + 1
	return leastDigest + (group-(n+leastDigest)%group)%group
}

// String returns the code as it is printed.
func (c Code) String() string {
	body := number(c.Position) + number(c.Leaf) + c.digest
	body += string(letters[check(body)])
	var b strings.Builder
	b.WriteString(prefix)
	for ; body != ""; body = body[group:] {
		b.WriteString("-" + body[:group])
	}
	return b.String()
}

// ParseCode reads a code as people type it: in any case, with or without hyphens and
// spaces. The error is an ErrMistyped and says what is wrong.
func ParseCode(typed string) (Code, error) {
	bad := func(format string, args ...any) (Code, error) {
		return Code{}, fmt.Errorf("%w: %s; it is printed like PL-15MZ-7K2Q-9RXD, of digits and capital letters", ErrMistyped, fmt.Sprintf(format, args...))
	}
	if len(typed) > 100 {
		return bad("it has %d letters", len(typed))
	}
	plain := strings.ToUpper(strings.Map(func(r rune) rune {
		if r == '-' || r == ' ' {
			return -1
		}
		return r
	}, typed))
	body, ok := strings.CutPrefix(plain, prefix)
	if !ok {
		return bad("it does not begin with PL")
	}
	body = strings.NewReplacer("O", "0", "I", "1", "L", "1").Replace(body)
	for _, r := range body {
		if !strings.ContainsRune(letters, r) {
			return bad("%q is in no code", r)
		}
	}
	if len(body) < 3*group || len(body)%group != 0 {
		return bad("it has %d letters behind PL, where there are always whole groups of %d, at least 3", len(body), group)
	}
	if len(body) > 31 || check(body[:len(body)-1]) != strings.IndexByte(letters, body[len(body)-1]) {
		return bad("its letters do not fit each other")
	}
	var c Code
	rest := body[:len(body)-1]
	if c.Position, rest, ok = readNumber(rest); !ok || c.Position < 1 {
		return bad("it names no position")
	}
	if c.Leaf, rest, ok = readNumber(rest); !ok || len(rest) != c.digestLength() {
		return bad("it names no procedure")
	}
	c.digest = rest
	return c, nil
}

// number writes 4 bits a letter, the highest first; a letter of 16 and more goes on.
func number(n int64) string {
	out := []byte{letters[n&15]}
	for n >>= 4; n > 0; n >>= 4 {
		out = append([]byte{letters[16|n&15]}, out...)
	}
	return string(out)
}

func readNumber(s string) (n int64, rest string, ok bool) {
	for i := 0; i < len(s); i++ {
		v := int64(strings.IndexByte(letters, s[i]))
		if i == 0 && v == 16 || i > 8 {
			return 0, "", false // a number has one spelling
		}
		n = n<<4 | v&15
		if v < 16 {
			return n, s[i+1:], true
		}
	}
	return 0, "", false
}

// lettersOf returns the first n letters of a hash.
func lettersOf(hash []byte, n int) string {
	out := make([]byte, n)
	for i := range out {
		bit := 5 * i
		v := uint(hash[bit/8])<<8 | uint(hash[bit/8+1])
		out[i] = letters[v>>(11-bit%8)&31]
	}
	return string(out)
}

// check returns the value of the check letter: the one that makes the letters, times
// rising powers of a primitive element of GF(32), add up to nothing. So every wrong
// letter and every two letters swapped within 31 are seen (a Reed-Solomon code with
// one check symbol).
func check(body string) int {
	sum, power := 0, 1
	for i := len(body) - 1; i >= 0; i-- {
		power = times2(power)
		sum ^= times(strings.IndexByte(letters, body[i]), power)
	}
	return sum
}

// times2 multiplies by the primitive element: x, modulo x^5 + x^2 + 1.
func times2(a int) int {
	if a <<= 1; a >= 32 {
		a ^= 0b100101
	}
	return a
}

func times(a, b int) int {
	product := 0
	for ; b > 0; b >>= 1 {
		if b&1 == 1 {
			product ^= a
		}
		a = times2(a)
	}
	return product
}
