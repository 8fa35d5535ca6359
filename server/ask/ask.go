// Package ask reads the words of a request: moments, names, pages, request ids,
// etags, numbers and booleans. Every transport and the command line read them here,
// so that a word means the same everywhere and is refused with the same sentence.
//
// Every error is a *fault.Error that names the field.
package ask

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"proofload/server/fault"
	"proofload/specdata"
)

// Name reads the name of a record. kind is the only one that will do, "" for any.
func Name(field, text string, kind specdata.Kind) (specdata.Name, error) {
	n, err := specdata.ParseName(text)
	if err != nil {
		return "", fault.Field(field, "%v", err)
	}
	if kind != "" && n.Kind() != kind {
		return "", fault.Field(field, "%s %q is no %s; write %s/<id>", field, text, kind, kind.Collection())
	}
	return n, nil
}

// ID reads the id in a resource name of a collection that is not one of records,
// like corrections/<id>. below is what follows the id, "" for nothing.
func ID(field, text, collection, below string) (string, error) {
	id, in := strings.CutPrefix(text, collection+"/")
	id, whole := strings.CutSuffix(id, below)
	if !in || !whole || id == "" || strings.Contains(id, "/") || !utf8.ValidString(id) {
		return "", fault.Field(field, "%s %q is not of the form %s/<id>%s", field, Clip(text), collection, below)
	}
	return id, nil
}

// Word reads one word of a closed list; "" passes as it is.
func Word[S ~string](field, text string, allowed ...S) (S, error) {
	names := make([]string, len(allowed))
	for i, a := range allowed {
		if string(a) == text {
			return a, nil
		}
		names[i] = string(a)
	}
	if text == "" {
		return "", nil
	}
	return "", fault.Field(field, "%s %q does not exist; allowed: %s", field, Clip(text), strings.Join(names, ", "))
}

// Bool reads a boolean; "" is false.
func Bool(field, text string) (bool, error) {
	switch text {
	case "true":
		return true, nil
	case "false", "":
		return false, nil
	}
	return false, fault.Field(field, "%s %q is neither true nor false", field, Clip(text))
}

// Whole reads a whole number as people write it, of at most so many bits; "" is 0.
func Whole(field, text string, bits int) (int64, error) {
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(text, 10, bits)
	if err != nil || strconv.FormatInt(n, 10) != text {
		return 0, fault.Field(field, "%s %q is not a whole number of %d bits; write it like 12", field, Clip(text), bits)
	}
	return n, nil
}

// Number reads a decimal number; "" is 0.
func Number(field, text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseFloat(text, 64)
	if err != nil || n-n != 0 || strings.ContainsAny(text, "xXpP_") { // n-n is not 0 for what is not finite
		return 0, fault.Field(field, "%s %q is not a number; write it like 12.5", field, Clip(text))
	}
	return n, nil
}

// Clip shortens a text to what an error may show of it.
func Clip(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if r := []rune(s); len(r) > 80 {
		return string(r[:80]) + "…"
	}
	return s
}
