package sheet

import (
	"fmt"
	"strings"
	"sync"
	"unicode"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"
)

// The sheet prints in DejaVu Sans Condensed (Bitstream Vera licence: free to embed). A
// PDF carries the letters that it uses, so that it prints the same everywhere.
const fontName = "DejaVu"

// Unprintable says that a text has a character which would not stand on paper as it
// is in the record. Nothing is printed then: a sign that is left out or replaced
// can turn "at most" into "at least".
type Unprintable struct {
	// Record is what is printed, Text the text with the character.
	Record, Text string
	Character    rune
	Why          string
}

// Error implements error.
func (e *Unprintable) Error() string {
	return fmt.Sprintf("%s cannot be printed as PDF: in %q the character %q (U+%04X) %s; print it as HTML, or write the text with another character", e.Record, e.Text, e.Character, e.Character, e.Why)
}

// glyphs reports whether both fonts have a character.
var glyphs = sync.OnceValue(func() func(r rune) bool {
	regular, err1 := sfnt.Parse(dejavusanscondensed.TTF)
	bold, err2 := sfnt.Parse(dejavusanscondensedbold.TTF)
	if err1 != nil || err2 != nil {
		return func(rune) bool { return false }
	}
	has := func(f *sfnt.Font, r rune) bool {
		var b sfnt.Buffer
		i, err := f.GlyphIndex(&b, r)
		return err == nil && i != 0
	}
	var known sync.Map
	return func(r rune) bool {
		if v, ok := known.Load(r); ok {
			return v.(bool)
		}
		v := has(regular, r) && has(bold, r)
		known.Store(r, v)
		return v
	}
})

// joining are the scripts whose letters change with their neighbours, which needs
// shaping that the printer does not do.
var joining = []*unicode.RangeTable{unicode.Arabic, unicode.Nko, unicode.Syriac, unicode.Mandaic, unicode.Mongolian, unicode.Phags_Pa, unicode.Thaana}

// printable composes a text and checks that each character of it has a glyph which
// stands by itself.
func printable(record, text string) (string, error) {
	text = norm.NFC.String(text)
	for _, r := range text {
		why := ""
		switch {
		case r == '\n':
			continue
		case r > 0xFFFF:
			why = "is in no font here"
		case unicode.In(r, joining...):
			why = "is of a script whose letters join, which is not done here"
		case unicode.Is(unicode.M, r):
			why = "is a mark that stands on another letter, which is not done here"
		case !glyphs()(r):
			why = "is in no font here"
		default:
			continue
		}
		return "", &Unprintable{record, around(text, r), r, why}
	}
	return text, nil
}

// around cuts a long text down to what is about a character.
func around(text string, r rune) string {
	const reach = 40
	runes := []rune(text)
	at := strings.IndexRune(text, r)
	n := len([]rune(text[:at]))
	return string(runes[max(0, n-reach):min(len(runes), n+reach)])
}
