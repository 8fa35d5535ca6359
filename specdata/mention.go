package specdata

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Mention is a torque or an angle that a text states with its unit, in any of the
// spellings people use ("240 Nm", "177 ft-lb", "90°").
type Mention struct {
	// Text is the mention as written, Start its first byte in the text.
	Text  string
	Start int
	// Quantity is the value in document spelling with the digits as written; it is
	// absent where the number has two readings ("1,500 Nm").
	Quantity Quantity
	// Margin says that the number follows a ± and is a tolerance, not a value.
	Margin bool
	// Low says that it is the lower end of a range, whose upper end comes next.
	Low bool
}

// Mentions lists the torques and angles a text states, in order. The ends of a
// range ("35-40 N·m") and a tolerance ("± 4 N·m") each count. Numbers without a
// unit, temperatures, thread sizes and what is in {placeholders} do not.
func Mentions(text string) []Mention {
	var ms []Mention
	for i := 0; i < len(text); {
		c := text[i]
		if c == '{' {
			if j := strings.IndexByte(text[i:], '}'); j >= 0 {
				i += j
			}
		}
		if c < '0' || c > '9' {
			i++
			continue
		}
		first := numberAt(text, i)
		if !first.free(text) {
			i = first.end
			continue
		}
		second, sign, ranged := rangeAt(text, first.end)
		last := first
		if ranged {
			last = second
		}
		unit, end := unitAt(text, last.end)
		if end == 0 {
			i = first.end
			continue
		}
		m := first.mention(text, unit, end)
		m.Low = ranged && sign != "±"
		ms = append(ms, m)
		if ranged {
			m := second.mention(text, unit, end)
			m.Margin = sign == "±"
			ms = append(ms, m)
		}
		i = end
	}
	return ms
}

// written is a number as it is in a text.
type written struct {
	start, end int
	number     string // with a decimal point; "" where it has two readings
}

// numberAt reads the number that starts at a digit: digits, and at most one
// decimal point or comma with digits after it.
func numberAt(text string, start int) written {
	digits := func(i int) int {
		for i < len(text) && '0' <= text[i] && text[i] <= '9' {
			i++
		}
		return i
	}
	whole := digits(start)
	w := written{start: start, end: whole, number: text[start:whole]}
	if whole+1 < len(text) && (text[whole] == '.' || text[whole] == ',') {
		if end := digits(whole + 1); end > whole+1 {
			// One to three digits, a mark and three digits may be thousands.
			places, lead := end-whole-1, whole-start
			w.end, w.number = end, text[start:whole]+"."+text[whole+1:end]
			if places == 3 && lead <= 3 && text[start] != '0' {
				w.number = ""
			}
		}
	}
	if len(w.number) > 12 {
		w.number = ""
	}
	return w
}

// free reports whether the number stands by itself rather than in a name or a
// designation ("M10", "quill-1", "2019-W26").
func (w written) free(text string) bool {
	before, size := utf8.DecodeLastRuneInString(text[:w.start])
	if size == 0 {
		return true
	}
	if before == '-' || before == '.' || before == ',' || before == '/' {
		b, _ := utf8.DecodeLastRuneInString(text[:w.start-size])
		return !unicode.IsLetter(b) && !unicode.IsDigit(b) || before == ',' && !unicode.IsDigit(b)
	}
	return !unicode.IsLetter(before) && !unicode.IsDigit(before) && before != '_'
}

func (w written) mention(text string, unit Unit, end int) Mention {
	m := Mention{Text: text[w.start:end], Start: w.start}
	before := strings.TrimRight(text[:w.start], blanks)
	m.Margin = strings.HasSuffix(before, "±") || strings.HasSuffix(before, "+/-")
	number := strings.TrimLeft(w.number, "0")
	if number == "" || number[0] == '.' {
		number = "0" + number
	}
	if w.number != "" && isDecimal(number) {
		m.Quantity = Quantity{number: number, unit: unitBySymbol[unit.Symbol]}
		m.Quantity.si = m.Quantity.computeSI()
	}
	return m
}

// blanks are the spaces people and typesetting put between a number and its unit.
const blanks = " \t\u00a0\u2009\u202f"

// rangeAt reads what makes a second number of the first: a dash, "to", or ±.
func rangeAt(text string, i int) (second written, sign string, ok bool) {
	rest := strings.TrimLeft(text[i:], blanks)
	for _, s := range []string{"+/-", "±", "...", "..", "–", "—", "-", "to "} {
		after, found := strings.CutPrefix(rest, s)
		if !found {
			continue
		}
		after = strings.TrimLeft(after, blanks)
		if after == "" || after[0] < '0' || after[0] > '9' {
			return written{}, "", false
		}
		if s == "+/-" {
			s = "±"
		}
		return numberAt(text, len(text)-len(after)), s, true
	}
	return written{}, "", false
}

// The spellings of records-and-slips, section F. The order of units is the order
// of the groups.
var (
	mentionUnits = []string{"N.m", "lbf.ft", "lbf.in", "kgf.cm", "kgf.m", "ozf.in", "deg"}
	mentionForm  = regexp.MustCompile(`(?i)^(?:` + strings.NewReplacer("_", `[ \x{A0}\x{2009}\x{202F}.·•⋅*-]{0,3}`, "/_", `[ \x{A0}\x{2009}\x{202F}.·•⋅*/-]{0,3}`).Replace(
		`(n_m\b|newton[ -]?met(?:re|er)s?\b)`+
			`|(lb[fs]{0,2}_f(?:oo|ee)?t\b|f(?:oo|ee)?t/_lb[fs]{0,2}\b|f(?:oo|ee)t[ -]?pounds?\b|pounds?[ -]?f(?:oo|ee)t\b)`+
			`|(lb[fs]{0,2}_in(?:ch|ches)?\b|in(?:ch)?/_lb[fs]{0,2}\b|inch[ -]?pounds?\b|pounds?[ -]?inch(?:es)?\b)`+
			`|(kgf?_cm\b)`+
			`|(kgf?_m\b|m_kgf?\b|kp_m\b)`+
			`|(ozf?_in(?:ch)?\b)`+
			`|(°|º|deg(?:rees?)?\b)`) + `)`)
	temperature = regexp.MustCompile(`^[ \x{A0}\x{2009}\x{202F}]?[CFK]\b`)
)

// unitAt reads the unit after a number and returns the end of it, 0 if there is none.
func unitAt(text string, i int) (Unit, int) {
	rest := strings.TrimLeft(text[i:], blanks+"-")
	if rest == "" || strings.IndexByte("nNlLfFpPiIkKmMoOdD\xc2", rest[0]) < 0 { // \xc2 starts ° and º
		return Unit{}, 0
	}
	m := mentionForm.FindStringSubmatchIndex(rest)
	if m == nil {
		return Unit{}, 0
	}
	for g, symbol := range mentionUnits {
		if m[2*g+2] < 0 {
			continue
		}
		if symbol == "deg" && temperature.MatchString(rest[m[1]:]) {
			return Unit{}, 0
		}
		u, ok := LookupUnit(symbol)
		if !ok {
			return Unit{}, 0
		}
		return u, len(text) - len(rest) + m[1]
	}
	return Unit{}, 0
}

// misreadings are units as scanning and typing spoil them.
var misreadings = []struct{ found, meant string }{
	{"Nrn", "Nm"}, {"N.rn", "N.m"}, {"N·rn", "N·m"}, {"N rn", "N m"}, {"N-rn", "N-m"},
	{"Ibf", "lbf"}, {"1bf", "lbf"}, {"Ib", "lb"}, {"lbf.fl", "lbf.ft"}, {"lbf·fl", "lbf·ft"}, {"lb-fl", "lb-ft"}, {"fl-lb", "ft-lb"}, {"fl·lb", "ft·lb"},
	{"kgrn", "kgm"}, {"kg-rn", "kg-m"},
}

// Misread finds the first look-alike of scanning or typing in a number or unit:
// "Nrn" for Nm, "Ibf" for lbf, O for 0, l or I for 1. It returns what is there
// and what was probably meant, both "" where nothing is suspicious.
func Misread(text string) (found, meant string) {
	for _, m := range misreadings {
		if strings.Contains(text, m.found) {
			return m.found, m.meant
		}
	}
	for start := 0; start < len(text); {
		if !strings.ContainsRune("0123456789OolI", rune(text[start])) {
			start++
			continue
		}
		end, digits, letters := start, 0, 0
		for end < len(text) && (strings.IndexByte("0123456789OolI", text[end]) >= 0 || end > start && (text[end] == '.' || text[end] == ',')) {
			switch c := text[end]; {
			case '0' <= c && c <= '9':
				digits++
			case c != '.' && c != ',':
				letters++
			}
			end++
		}
		whole := (start == 0 || !letterBefore(text, start)) && (end == len(text) || !letterAfter(text, end))
		if word := text[start:end]; digits > 0 && letters > 0 && whole {
			return word, strings.NewReplacer("O", "0", "o", "0", "l", "1", "I", "1").Replace(word)
		}
		start = end
	}
	return "", ""
}

func letterBefore(text string, i int) bool {
	r, _ := utf8.DecodeLastRuneInString(text[:i])
	return unicode.IsLetter(r)
}

func letterAfter(text string, i int) bool {
	r, _ := utf8.DecodeRuneInString(text[i:])
	return unicode.IsLetter(r)
}
