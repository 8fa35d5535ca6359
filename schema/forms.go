package schema

import (
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"proofload/specdata"
)

// wrongType explains a value of another JSON type than the schema wants.
func wrongType(name string, schema map[string]any, found any) string {
	want, _ := schema["type"].(string)
	number, isNumber := found.(json.Number)
	if found == nil {
		return fmt.Sprintf("%s has no value; write one%s, or leave the key out where it may be left out", name, like(schema))
	}
	switch want {
	case "string":
		if units := unitsOf(schema); units != nil && isNumber {
			return fmt.Sprintf("%s is %s without a unit; the unit is missing and is never guessed; write it with the unit the source prints, one of %s%s", name, number, strings.Join(units, ", "), like(schema))
		}
		if _, ok := found.(bool); (ok || isNumber) && fits(schema, show(found)) {
			return fmt.Sprintf("%s is %s, but text is wanted; put it in quotes: \"%s\"", name, describe(found), show(found))
		}
		what, _ := schema["description"].(string)
		return fmt.Sprintf("%s is %s, but text is wanted: %s%s", name, describe(found), lower(what), like(schema))
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
	message = fmt.Sprintf("%s is %q, which is not its form: %s%s", name, specdata.Shorten(found), lower(what), like(schema))
	small := strings.ToLower(found)
	for _, try := range []string{
		strings.Join(strings.Fields(found), " "), small, strings.ToUpper(found),
		strings.Trim(other.ReplaceAllString(small, "-"), "-"), strings.Trim(other.ReplaceAllString(small, "_"), "_"),
	} {
		if len(try) < 200 && try != found && fits(schema, try) {
			return message + fmt.Sprintf(" (did you mean %q?)", try), nil
		}
	}
	return message, nil
}

// hidden finds a character that no screen shows, other than a line break.
func hidden(s string) (rune, bool) {
	for _, r := range s {
		if r != '\n' && !unicode.IsPrint(r) {
			return r, true
		}
	}
	return 0, false
}

// other is everything that ids and option keys do not have.
var other = regexp.MustCompile(`[^a-z0-9]+`)

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
	number, unit, _ := strings.Cut(found, " ")
	if _, wrong := specdata.ParseQuantity(number + " " + units[0]); wrong != nil || unit == "" {
		return fmt.Sprintf("%s: %v", name, err)
	}
	hint := ""
	if near := specdata.NearestUnit(unit); slices.Contains(units, near) {
		hint = fmt.Sprintf(" (did you mean %q?)", number+" "+near)
	}
	return fmt.Sprintf("%s is %q, and the unit %q is unknown; %s%s", name, specdata.Shorten(found), specdata.Shorten(unit), here, hint)
}
