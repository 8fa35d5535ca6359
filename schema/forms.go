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
		quotes := ""
		if m := object(found); len(m) == 1 {
			quotes = "; text that holds a colon and a space stands in quotes"
		}
		return fmt.Sprintf("%s is %s, but text is wanted: %s%s%s", name, describe(found), lower(what), like(schema), quotes)
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
		return fmt.Sprintf("%s is %q, which is no day of the calendar", name, specdata.Shorten(found)), nil
	}
	message = fmt.Sprintf("%s is %q, which is not its form: %s%s", name, specdata.Shorten(found), lower(what), like(schema))
	small := strings.ToLower(found)
	for _, try := range []string{
		strings.Join(strings.Fields(found), " "), small, strings.ToUpper(found),
		strings.Trim(other.ReplaceAllString(small, "-"), "-"), strings.Trim(other.ReplaceAllString(small, "_"), "_"),
		strings.ReplaceAll(found, "×", "x"), isoDay(found),
	} {
		if len(try) < 200 && try != found && fits(schema, try) {
			return message + fmt.Sprintf(" (did you mean %q?)", try), nil
		}
	}
	return message, nil
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
// Months in digits are not tried: 1.3. is January to some and March to others.
func isoDay(s string) string {
	for _, layout := range []string{"2 January 2006", "2 Jan 2006", "January 2, 2006", "Jan 2, 2006", "2. January 2006"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Format(time.DateOnly)
		}
	}
	for _, layout := range []string{"January 2006", "Jan 2006"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Format("2006-01")
		}
	}
	return ""
}

// other is everything that ids and option keys do not have.
var other = regexp.MustCompile(`[^a-z0-9]+`)

var (
	thousands = regexp.MustCompile(`^[0-9]{1,3},[0-9]{3} `)
	span      = regexp.MustCompile(`^[0-9.]+ ?(?:-|–|\.\.|to) ?[0-9.]+ `)
)

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
