package schema

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"proofload/specdata"
)

// wrongType explains a value of another JSON type than the schema wants.
func wrongType(name string, schema map[string]any, found any) string {
	want, _ := schema["type"].(string)
	number, isNumber := found.(json.Number)
	if found == nil {
		return fmt.Sprintf("%s has no value%s", name, cmp.Or(like(schema), "; write one"))
	}
	switch want {
	case "string":
		if units := unitsOf(schema); units != nil && isNumber {
			return noUnit(name, number.String(), units, schema)
		}
		if _, ok := found.(bool); (ok || isNumber) && fits(schema, show(found)) {
			return fmt.Sprintf("%s is %s, but text is wanted; put it in quotes: \"%s\"", name, describe(found), show(found))
		}
		what, _ := schema["description"].(string)
		if isNumber {
			return fmt.Sprintf("%s is %s, which is not its form: %s%s", name, number, lower(firstSentence(what)), like(schema))
		}
		quotes := ""
		if m := object(found); len(m) == 1 {
			quotes = "; text that holds a colon and a space stands in quotes"
		}
		return fmt.Sprintf("%s is %s, but text is wanted: %s%s%s", name, describe(found), lower(firstSentence(what)), like(schema), quotes)
	case "integer":
		return fmt.Sprintf("%s is %s; a whole number is wanted, %s, without quotes", name, describe(found), between(schema, "minimum", "maximum"))
	case "object":
		properties, _ := schema["properties"].(map[string]any)
		keys := slices.Sorted(maps.Keys(properties))
		if len(keys) > 0 {
			return fmt.Sprintf("%s is %s, but it is written with keys: %s", name, describe(found), strings.Join(keys, ", "))
		}
		return fmt.Sprintf("%s is %s, but it is written with keys and values%s", name, describe(found), like(schema))
	case "array":
		return fmt.Sprintf("%s is %s, but a list is wanted; put the entries in brackets, or each behind a dash on its own line", name, describe(found))
	}
	return fmt.Sprintf("%s is %s, but it is written as %s%s", name, describe(found), want, like(schema))
}

// wrongForm explains text that does not have the form wanted, with the form it may
// have been meant in.
func wrongForm(name string, schema map[string]any, found string) (message string, allowed []string) {
	if units := unitsOf(schema); units != nil {
		return wrongQuantity(name, schema, found, units), units
	}
	what, _ := schema["description"].(string)
	if r, ok := hidden(found); ok {
		return fmt.Sprintf("%s is %q and holds the character U+%04X, which cannot be seen; remove it", name, specdata.Shorten(found), r), nil
	}
	if noDay.MatchString(found) && (schema["format"] == "date" || fits(schema, "2016-03-07")) {
		return fmt.Sprintf("%s is %q, which is no day of the calendar; the year comes first, then the month, then the day%s", name, specdata.Shorten(found), like(schema)), nil
	}
	message = fmt.Sprintf("%s is %q, which is not its form: %s%s", name, specdata.Shorten(found), lower(what), like(schema))
	if latin, foreign := inLatin(found); foreign != 0 && fits(schema, latin) {
		return message + fmt.Sprintf(" (did you mean %q? its %c is U+%04X, which only looks like the letter)", latin, foreign, foreign), nil
	}
	small := unaccented.Replace(strings.ToLower(found))
	tight, _ := inLatin(strings.Join(strings.Fields(found), ""))
	for _, try := range []string{
		strings.Join(strings.Fields(found), " "), small, strings.ToUpper(found),
		strings.Trim(other.ReplaceAllString(small, "-"), "-"), strings.Trim(other.ReplaceAllString(small, "_"), "_"),
		isoDay(found), strings.ReplaceAll(tight, ",", "."), thread(tight),
	} {
		if len(try) < 200 && try != found && fits(schema, try) {
			return message + fmt.Sprintf(" (did you mean %q?)", try), nil
		}
	}
	return message, nil
}

// inLatin writes the letters of other alphabets that look like Latin ones as those, and
// returns the first that it found, 0 for none.
func inLatin(s string) (latin string, foreign rune) {
	latin = strings.Map(func(r rune) rune {
		i := strings.IndexRune(lookalikes, r)
		if i < 0 {
			return r
		}
		if foreign == 0 {
			foreign = r
		}
		return rune(lookedLike[len([]rune(lookalikes[:i]))])
	}, s)
	return latin, foreign
}

// Letters of the Cyrillic and Greek alphabets and what they are taken for on a keyboard
// or in a scan (Unicode Technical Standard 39, confusables; the pairs from memory).
const (
	lookalikes = "АВЕЗКМНОРСТХаеорсухіѕΑΒΕΖΗΙΚΜΝΟΡΤΧο"
	lookedLike = "ABE3KMHOPCTXaeopcyxisABEZHIKMNOPTXo"
)

// unaccented writes what ids do not have as people do who have no such keys.
var unaccented = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "é", "e", "è", "e", "ê", "e", "à", "a", "â", "a", "ç", "c", "ñ", "n", "å", "aa", "ø", "oe", "æ", "ae", "ó", "o", "í", "i", "á", "a", "ú", "u")

// thread writes a metric thread as ISO 261 does: with a small x and a point.
func thread(s string) string {
	m := loose.FindStringSubmatch(s)
	if m == nil {
		return ""
	}
	return "M" + strings.ReplaceAll(m[1], ",", ".") + "x" + strings.ReplaceAll(m[2], ",", ".")
}

var loose = regexp.MustCompile(`^[Mm]([0-9]+(?:[.,][0-9]+)?)[xX×*-]([0-9]+(?:[.,][0-9]+)?)$`)

// firstSentence returns a description up to its first full stop.
func firstSentence(s string) string {
	first, _, _ := strings.Cut(s, ". ")
	return first
}

// hidden finds a character that no screen shows.
func hidden(s string) (rune, bool) {
	for _, r := range s {
		if r != '\n' && !unicode.IsPrint(r) {
			return r, true
		}
	}
	return 0, false
}

var noDay = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)

// isoDay writes a day with its month in words as ISO 8601 does, "" for any other text.
// Months in digits are taken where no day can be meant: 1.3. is January to some and March
// to others, 14/9/2026 is one day to all.
func isoDay(s string) string {
	for _, layout := range []string{"2 January 2006", "2 Jan 2006", "January 2, 2006", "Jan 2, 2006", "2. January 2006"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Format(time.DateOnly)
		}
	}
	for _, layout := range []string{"January 2006", "Jan 2006", "1/2006", "1-2006", "1.2006"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Format("2006-01")
		}
	}
	// A day above 12 is no month.
	if m := digits.FindStringSubmatch(s); m != nil && len(m[1]) == 2 && m[1] > "12" {
		if t, err := time.Parse("2.1.2006", m[1]+"."+m[2]+"."+m[3]); err == nil {
			return t.Format(time.DateOnly)
		}
	}
	return ""
}

var digits = regexp.MustCompile(`^([0-9]{1,2})[./-]([0-9]{1,2})[./-]([0-9]{4})$`)

// other is everything that ids and option keys do not have.
var other = regexp.MustCompile(`[^a-z0-9]+`)

var (
	thousands = regexp.MustCompile(`^[0-9]{1,3},[0-9]{3} `)
	span      = regexp.MustCompile(`^[0-9.]+ ?(?:-|–|\.\.|to) ?[0-9.]+ `)
)

// misread writes letters that scans and eyes take for digits as those; the units, which
// stand behind a blank, have none of them.
var misread = strings.NewReplacer("O ", "0 ", "o ", "0 ", "l ", "1 ", "I ", "1 ", "S ", "5 ", "B ", "8 ", "1O", "10", "2O", "20", "O.", "0.", "l0", "10", "I0", "10", "l1", "11", "1l", "11")

// suggestion is the end of an error about a quantity that says what was meant.
func suggestion(err error) string {
	if i := strings.Index(err.Error(), " (did you mean"); i >= 0 {
		return err.Error()[i:]
	}
	return ""
}

func noUnit(name, number string, units []string, schema map[string]any) string {
	return fmt.Sprintf("%s is %s without a unit; a unit is never guessed: write the one the source prints, of %s%s", name, number, strings.Join(units, ", "), like(schema))
}

// fits reports whether text has the form a schema asks for.
func fits(schema map[string]any, s string) bool {
	pattern, ok := schema["pattern"].(string)
	if !ok {
		return true
	}
	re, err := regexp.Compile(pattern)
	return err == nil && re.MatchString(s)
}

func wrongQuantity(name string, schema map[string]any, found string, units []string) string {
	here := "allowed here: " + strings.Join(units, ", ")
	q, err := specdata.ParseQuantity(found)
	if err == nil {
		switch {
		case q.Sign() < 0:
			return fmt.Sprintf("%s is %s; it cannot be negative", name, q)
		case !slices.Contains(units, q.Unit().Symbol):
			return fmt.Sprintf("%s is %s, a %s; units %s%s", name, q, q.Dimension(), here, like(schema))
		}
		return fmt.Sprintf("%s is %s; fractions are for inch sizes and turns, write a decimal", name, q)
	}
	if comma := strings.Count(found, ","); comma == 1 {
		point := strings.Replace(found, ",", ".", 1)
		if q, err := specdata.ParseQuantity(point); err == nil && slices.Contains(units, q.Unit().Symbol) {
			if whole := strings.Replace(found, ",", "", 1); thousands.MatchString(found) {
				return fmt.Sprintf("%s is %q; a number has no comma: write a decimal with a point (%q), thousands without a mark (%q)", name, specdata.Shorten(found), point, whole)
			}
			return fmt.Sprintf("%s is %q; write a decimal with a point: %q", name, specdata.Shorten(found), point)
		}
	}
	if bare := strings.TrimLeft(strings.TrimPrefix(found, "+/-"), "±+ "); bare != found {
		if q, err := specdata.ParseQuantity(bare); err == nil && slices.Contains(units, q.Unit().Symbol) {
			return fmt.Sprintf("%s is %q; write it without a sign: %q", name, specdata.Shorten(found), bare)
		}
	}
	if m := span.FindStringSubmatch(found); m != nil {
		return fmt.Sprintf("%s is %q, a range; one value is wanted here%s", name, specdata.Shorten(found), like(schema))
	}
	if _, err := specdata.ParseQuantity(found + " " + units[0]); err == nil {
		return noUnit(name, strconv.Quote(found), units, schema)
	}
	if read := misread.Replace(found); read != found {
		if q, err := specdata.ParseQuantity(read); err == nil && slices.Contains(units, q.Unit().Symbol) {
			return fmt.Sprintf("%s is %q, and a letter stands for a digit (did you mean %q?)", name, specdata.Shorten(found), read)
		}
	}
	number, unit, _ := strings.Cut(found, " ")
	if _, wrong := specdata.ParseQuantity(number + " " + units[0]); wrong != nil || unit == "" {
		return fmt.Sprintf("%s is %q, but a number, one space and a unit are wanted%s%s", name, specdata.Shorten(found), like(schema), suggestion(err))
	}
	hint := ""
	if near := specdata.NearestUnit(unit); slices.Contains(units, near) {
		hint = fmt.Sprintf(" (did you mean %q?)", number+" "+near)
	}
	return fmt.Sprintf("%s is %q, and the unit %q is unknown; %s%s", name, specdata.Shorten(found), specdata.Shorten(unit), here, hint)
}
