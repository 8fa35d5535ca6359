package draft

import (
	"regexp"
	"slices"
	"strings"

	"proofload/specdata"
)

// title returns a title with its first letter in upper case.
func title(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// the returns a thing with its article: "the brake disc".
func the(title string) string { return "the " + specdata.InSentence(title) }

// fresh returns a new thing: "a new gasket", "new brake pads".
func fresh(title string) string {
	name := specdata.InSentence(title)
	if head, _ := headNoun(name); isPlural(head) {
		return "new " + name
	}
	return "a new " + name
}

// them returns the pronoun for a thing: "them" for brake pads, else "it".
func them(title string) string {
	if many(specdata.InSentence(title)) {
		return "them"
	}
	return "it"
}

// headNoun splits a name behind its head noun: "stud nut" and " of the cover". What
// one thing is fastened to another with is one name: "strut to knuckle bolt".
func headNoun(name string) (head, rest string) {
	if fastened.MatchString(name) {
		return name, ""
	}
	at := len(name)
	for _, mark := range []string{", ", " (", " with ", " of ", " for ", " on ", " to ", " in ", " at "} {
		if i := strings.Index(name, mark); i > 0 {
			at = min(at, i)
		}
	}
	return name[:at], name[at:]
}

var fastened = regexp.MustCompile(`^[^,(]* to [^,(]*\b(?:bolt|nut|screw|stud|union|plug)s?$`)

// many reports whether a name is of several things: a plural or a pair.
func many(name string) bool {
	head, _ := headNoun(name)
	return isPlural(head) || strings.Contains(head, " and ")
}

func isPlural(head string) bool {
	if i := strings.LastIndex(head, " "); i >= 0 {
		head = head[i+1:]
	}
	return strings.HasSuffix(head, "s") && !strings.HasSuffix(head, "ss") && !strings.HasSuffix(head, "us") && !slices.Contains([]string{"lens", "chassis", "bias", "gas"}, head)
}

// plural returns the plural of a name: "wheel nuts", "bushes of the arm".
func plural(name string) string {
	head, rest := headNoun(name)
	if one, other, ok := strings.Cut(head, " and "); ok {
		return plural(one) + " and " + plural(other) + rest
	}
	switch {
	case isPlural(head):
	case strings.HasSuffix(head, "s"), strings.HasSuffix(head, "sh"), strings.HasSuffix(head, "ch"), strings.HasSuffix(head, "x"):
		head += "es"
	case strings.HasSuffix(head, "y") && len(head) > 1 && !strings.ContainsRune("aeiou", rune(head[len(head)-2])):
		head = head[:len(head)-1] + "ies"
	default:
		head += "s"
	}
	return head + rest
}

// named returns the fasteners of a record as a sentence calls them: "wheel nuts".
func named(f *specdata.Fastener) string {
	name := specdata.InSentence(f.Title)
	if f.Count > 1 {
		return plural(name)
	}
	return name
}

// anew returns fasteners that are replaced: "new carrier bolts", "a new collar nut".
func anew(f *specdata.Fastener) string {
	if f.Count > 1 {
		return "new " + named(f)
	}
	return fresh(f.Title)
}

// itOrThem returns the pronoun for the fasteners of a record.
func itOrThem(f *specdata.Fastener) string {
	if f.Count > 1 {
		return "them"
	}
	return them(f.Title)
}

// locks says how a lock is undone and set, by Lock.By, where that is an act of its own.
var locks = map[string]struct{ undo, set string }{
	"pin":   {"draw the split pin of", "fit a new split pin to"},
	"stake": {"relieve the stake of", "stake"},
	"tab":   {"bend the lock tab back from", "bend the lock tab up against"},
	"wire":  {"cut the lock wire of", "wire"},
}

// lockOf returns how a fastener's lock is undone and set; ok is false where it has
// none that needs an act.
func lockOf(f *specdata.Fastener) (undo, set string, ok bool) {
	if f.Lock == nil {
		return "", "", false
	}
	l, ok := locks[f.Lock.By]
	return l.undo, l.set, ok
}

// patterns says the order of a tightening, by Pattern.Order.
var patterns = map[string]string{
	"cross": "in a cross", "star": "in a star", "spiral": "in a spiral", "sequence": "in the numbered order",
	"centre-out": "from the centre outwards", "circle": "in a circle",
}

func patternOf(f *specdata.Fastener) string {
	if p := f.Tightening.Pattern; p != nil && f.Count > 1 && patterns[p.Order] != "" {
		return " " + patterns[p.Order]
	}
	return ""
}

// roundsOf says in how many rounds a single torque is reached: the rounds before the
// last bring the face down evenly. Common practice, no source; US Army TM
// 5-3805-248-23-1 goes round at 70 % first.
func roundsOf(f *specdata.Fastener) string {
	p := f.Tightening.Pattern
	if p == nil || f.Count < 2 || p.Passes < 2 || len(f.Tightening.Stages) != 1 {
		return ""
	}
	if p.Passes == 2 {
		return ", in two rounds, the first at about half the value"
	}
	numbers := []string{3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine"}
	return ", in " + numbers[min(p.Passes, 9)] + " rounds that rise evenly to the value"
}

// loosening says how a family is undone where its record asks for it.
func loosening(f *specdata.Fastener) string {
	if p := f.Tightening.Pattern; p != nil && f.Count > 1 && p.Loosen == "reverse" && p.Order != "one" {
		return " in the reverse of the tightening order"
	}
	return ""
}

// holding says what is held against the tool: "the stud with a 6 mm hex key".
func holding(f *specdata.Fastener, verb string) string {
	if h := f.Tightening.Hold; h != nil {
		with := strings.ReplaceAll(h.With, ", ", " ") // it stands in a list
		if strings.HasPrefix(with, "hand") {
			with = "the other " + with
		}
		return verb + " the " + strings.TrimPrefix(h.Turns, "the ") + " with " + withArticle(sizeFirst(with))
	}
	return ""
}

var sized = regexp.MustCompile(`^([a-z-]+(?: [a-z-]+)?) ([0-9]+(?:\.[0-9]+)? mm)\b`)

// sizeFirst puts the size of a tool before its name: "6 mm hex key".
func sizeFirst(tool string) string { return sized.ReplaceAllString(tool, "$2 $1") }

// withArticle puts an article before a tool that has none: "a 6 mm hex key".
func withArticle(tool string) string {
	first, _, _ := strings.Cut(tool, " ")
	if slices.Contains([]string{"a", "an", "the", "one", "two", "your", "hand"}, first) || many(tool) {
		return tool
	}
	if strings.ContainsRune("aeiou", rune(tool[0])) || first == "8" || first == "11" || first == "18" {
		return "an " + tool
	}
	return "a " + tool
}

// leftHand warns of a thread that turns the other way.
func leftHand(f *specdata.Fastener, undoing bool) string {
	switch {
	case f.Thread == nil || f.Thread.Hand != "left":
		return ""
	case undoing:
		return " (left-hand thread: turn clockwise)"
	}
	return " (left-hand thread: turn anticlockwise)"
}

// sentence joins clauses: "Remove the nut, discard it and take off the wheel."
func sentence(clauses []string) string {
	s := clauses[0]
	for i, c := range clauses[1:] {
		if i == len(clauses)-2 {
			s += " and " + c
		} else {
			s += ", " + c
		}
	}
	return title(s) + "."
}

// and joins names: "the coolant and the engine oil".
func and(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// says reports whether a title has one of some phrases (lower case) as whole words.
func says(title string, phrases ...string) bool {
	padded := " " + strings.NewReplacer("-", " ", ",", " ", "(", " ", ")", " ").Replace(strings.ToLower(title)) + " "
	return slices.ContainsFunc(phrases, func(p string) bool {
		return strings.Contains(padded, " "+p+" ") || strings.Contains(padded, " "+p+"s ")
	})
}
