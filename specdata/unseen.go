package specdata

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// Unseen finds the first character of a text that a reader cannot see, or that makes
// what is seen differ from what is there: controls, breaks of line that some programs
// know and others do not (U+0085, U+2028, U+2029, a carriage return alone), marks of
// direction (UAX 9), zero-width and filler characters (the Default_Ignorable_Code_Point
// of UAX 44), symbols that are drawn as nothing (formless), private and unassigned
// ones. A line feed, alone or behind a carriage
// return, and a tab can be seen. offset counts bytes; ok reports whether there is one.
func Unseen[T string | []byte](s T) (c rune, offset int, ok bool) {
	for i := 0; i < len(s); {
		if b := s[i]; b >= ' ' && b < 0x7f || b == '\n' || b == '\t' {
			i++
			continue
		}
		c, n := utf8.DecodeRuneInString(string(s[i:min(i+utf8.UTFMax, len(s))]))
		if unseen(c) && (c != '\r' || i+1 == len(s) || s[i+1] != '\n') {
			return c, i, true
		}
		i += n
	}
	return 0, 0, false
}

func unseen(c rune) bool {
	return !unicode.IsGraphic(c) || formless(c) || unicode.In(c, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector)
}

// formless reports the symbols that Unicode counts as graphic and fonts draw as nothing:
// the empty braille pattern, the null notehead, the place of an embedded object.
func formless(c rune) bool { return c == 0x2800 || c == 0x1d159 || c == 0xfffc }

// UnseenError returns an error about the first character of a text that cannot be seen,
// nil when there is none: what Unseen finds, and spaces other than the plain one and the
// two that keep a number with its unit (U+00A0, U+202F), since nobody tells them apart.
// what names the text, like "reason".
func UnseenError(what, s string) error {
	c, offset, ok := Unseen(s)
	for i, space := range s {
		if oddSpace(space) && (!ok || i < offset) {
			c, offset, ok = space, i, true
			break
		}
	}
	if !ok {
		return nil
	}
	if oddSpace(c) {
		return fmt.Errorf("%s holds U+%04X (a space of another width) as its character %d; it cannot be told from a plain space; write a plain space",
			what, c, utf8.RuneCountInString(s[:offset])+1)
	}
	return fmt.Errorf("%s holds U+%04X (%s) as its character %d; it %s; allowed is what everybody sees, so take it out",
		what, c, unseenName(c), utf8.RuneCountInString(s[:offset])+1, unseenHarm(c))
}

// oddSpace reports a space that a person has no reason to type into a text.
func oddSpace(c rune) bool {
	return c > 0x7f && unicode.Is(unicode.Zs, c) && c != 0xa0 && c != 0x202f
}

// UnseenMessage says what is wrong with a character that Unseen found, and the mend.
func UnseenMessage(c rune) string {
	return fmt.Sprintf("U+%04X (%s), which %s; take it out", c, unseenName(c), unseenHarm(c))
}

func unseenName(c rune) string {
	switch {
	case c == 0:
		return "NUL"
	case c == '\r':
		return "carriage return without a line feed"
	case c == 0x85:
		return "next line"
	case c == 0x2028:
		return "line separator"
	case c == 0x2029:
		return "paragraph separator"
	case directional(c):
		return "direction mark"
	case c == utf8.RuneError:
		return "replacement character"
	case unicode.Is(unicode.Cc, c):
		return "control character"
	case unicode.Is(unicode.Co, c):
		return "private character"
	case unicode.In(c, unicode.Cf, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector):
		return "character without width"
	}
	return "character without a form"
}

func unseenHarm(c rune) string {
	switch {
	case c == '\r', c == 0x85, c == 0x2028, c == 0x2029:
		return "ends a line for some programs and not for others, so that what stands behind it may be hidden in a comment"
	case directional(c):
		return "makes text read in another order than it is stored"
	}
	return "cannot be seen"
}

// directional reports the marks, embeddings, overrides and isolates of UAX 9.
func directional(c rune) bool { return unicode.Is(unicode.Bidi_Control, c) }
