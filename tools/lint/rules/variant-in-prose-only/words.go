package variantinproseonly

import (
	"strings"

	"proofload/specdata"
)

// vocabulary holds the words for variants of a procedure's vehicles.
type vocabulary struct {
	// plain are words for variants on any vehicle.
	plain []string
	// codes are option values that mean nothing else ("d15").
	codes map[string]bool
	// values are option values that are everyday words ("drum"), with the noun of their option ("brake").
	values map[string]string
}

// Words that name a variant where a sentence makes a condition of them (common practice, no source).
var plain = []string{"diesel", "petrol", "gasoline", "hybrid", "turbo", "automatic", "estate", "saloon", "hatchback", "convertible"}

// nouns are what may stand after a word for a variant.
var nouns = []string{"vehicle", "car", "model", "version", "variant", "engine", "gearbox", "transmission", "brake", "axle", "cab", "body"}

// add takes in the values of an option.
func (v *vocabulary) add(key string, values []string) {
	noun := key[strings.LastIndexByte(key, '_')+1:]
	for _, value := range values {
		if strings.ContainsAny(value, "0123456789") && !likeThread(value) {
			v.codes[value] = true
		} else {
			v.values[value] = noun
		}
	}
}

// likeThread reports whether a code could be a thread in a sentence (m6, a gearbox, and M6, a bolt).
func likeThread(code string) bool {
	return code[0] == 'm' && strings.Trim(code[1:], "0123456789") == ""
}

// word is a word of a sentence; first and last say that a clause starts or ends with it.
type word struct {
	text        string // as written, without punctuation
	lower       string
	first, last bool
}

func wordsOf(text string) []word {
	fields := strings.Fields(text)
	words := make([]word, 0, len(fields))
	first := true
	for _, f := range fields {
		t := strings.Trim(f, ",;:.()")
		first = first || strings.HasPrefix(f, "(")
		last := strings.TrimRight(f, ",;:.)") != f
		if t != "" && t[0] != '{' {
			words = append(words, word{t, strings.ToLower(t), first, last})
		}
		first = last
	}
	if n := len(words); n > 0 {
		words[n-1].last = true
	}
	return words
}

func oneOf(w string, list ...string) bool {
	for _, l := range list {
		if w == l || strings.TrimSuffix(w, "s") == l {
			return true
		}
	}
	return false
}

// find returns the first phrase of a text that mentions a variant, "" where there is none.
func (v *vocabulary) find(text string) string {
	words := wordsOf(text)
	for i, w := range words {
		if v.codes[w.lower] {
			return w.text
		}
		if i+1 < len(words) && oneOf(w.lower, "if", "where") && oneOf(words[i+1].lower, "fitted", "equipped") {
			return phrase(words[i : i+2])
		}
		n := v.variant(words[i:])
		if n == 0 {
			continue
		}
		if end := i + n; end < len(words) && words[end].lower == "only" && !words[end-1].last {
			return phrase(words[i : end+1])
		}
		if from, ok := condition(words, i, n); ok {
			return phrase(words[from : i+n])
		}
	}
	return ""
}

// variant returns the number of words at the start that name a variant, 0 if they do not.
func (v *vocabulary) variant(words []word) int {
	w := words[0]
	followed := func(more ...string) bool {
		return !w.last && len(words) > 1 && (oneOf(words[1].lower, nouns...) || oneOf(words[1].lower, more...))
	}
	if noun, ok := v.values[w.lower]; ok && followed(noun) {
		return 2
	}
	if oneOf(w.lower, v.plain...) {
		if followed() {
			return 2
		}
		return 1
	}
	// "16 in brakes"
	if len(words) > 2 && strings.ContainsAny(w.lower, "0123456789") && oneOf(words[1].lower, "in", "inch", "mm") &&
		oneOf(words[2].lower, "brake", "wheel", "rim") && specdata.OnlyWords(w.lower, specdata.Numbers(w.lower)...) {
		return 3
	}
	return 0
}

// condition reports whether the n words at i are what a condition turns on ("on
// diesel, …", "for cars with drum brakes …", "… only on petrol engines"), and where
// the condition starts.
func condition(words []word, i, n int) (from int, ok bool) {
	from = i
	for from > 0 && oneOf(words[from-1].lower, "the", "a", "an", "all", "vehicle", "car", "model", "version", "with", "on", "for", "if") && !words[from-1].last {
		from--
		if words[from].first {
			break
		}
	}
	if from == i {
		return from, false
	}
	if from > 0 && words[from-1].lower == "only" && oneOf(words[from].lower, "on", "for", "with", "if") {
		return from - 1, true
	}
	last := words[i+n-1].last
	if words[from].first && oneOf(words[from].lower, "on", "for", "with", "if") {
		return from, last || n > 1
	}
	return from, last && words[from].lower == "on"
}

func phrase(words []word) string {
	parts := make([]string, len(words))
	for i, w := range words {
		parts[i] = w.text
	}
	return strings.Join(parts, " ")
}
