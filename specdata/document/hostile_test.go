package document_test

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"proofload/specdata"
	"proofload/specdata/document"
)

const soundSource = `{"kind":"source","id":"a","title":"A","issuer":"B","date":"2020-01-01","type":"maker","licence":"own"}`

// with returns a source document in JSON with one member more.
func with(member string) string { return soundSource[:len(soundSource)-1] + "," + member + "}" }

// yamlWith returns a source document in YAML with more lines.
func yamlWith(lines string) string {
	return "kind: source\nid: a\ntitle: A\nissuer: B\ndate: 2020-01-01\ntype: maker\nlicence: own\n" + lines + "\n"
}

func nested(open, inner, end string, depth int) string {
	return strings.Repeat(open, depth) + inner + strings.Repeat(end, depth)
}

// steps returns a block mapping nested so deep that the text just fits the size limit.
func steps() string {
	var b strings.Builder
	for i := 0; b.Len()+i+4 < document.MaxBytes; i++ {
		b.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	return b.String()
}

// laughs is the alias bomb: every anchor names the one before it nine times.
func laughs() string {
	var b strings.Builder
	b.WriteString("a0: &a0 [x, x]\n")
	for i := 1; i < 30; i++ {
		fmt.Fprintf(&b, "a%d: &a%d [%s]\n", i, i, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*a%d, ", i-1), 9), ", "))
	}
	return b.String()
}

func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `,"k%d":1`, i)
	}
	return soundSource[:len(soundSource)-1] + b.String() + "}"
}

func manyLines(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "k%d: v\n", i)
	}
	return b.String()
}

// hostileText is text that somebody sends on purpose, with the rule that refuses it
// and a piece of the message.
type hostileText struct {
	name, file, text string
	rule, says       string
}

// hostile is the list of the background research, R16, as far as it concerns documents.
var hostile = []hostileText{
	{"exponent that panics the validator", "x.json", with(`"note":1e1000001`), "limits", "exponent"},
	{"negative exponent", "x.json", with(`"note":1e-999999`), "limits", "exponent"},
	{"exponent of an exponent", "x.json", with(`"note":1e99999999999999999999`), "limits", "exponent"},
	{"negative number with exponent", "x.json", with(`"note":-1E1000001`), "limits", "exponent"},
	{"beyond a double", "x.json", with(`"note":1E400`), "limits", "exponent"},
	{"400 digits", "x.json", with(`"note":` + strings.Repeat("9", 400)), "limits", "400 characters"},
	{"400 places", "x.json", with(`"note":0.` + strings.Repeat("1", 400)), "limits", "402 characters"},
	{"whole number that doubles lose", "x.json", with(`"note":9007199254740993`), "limits", "2^53"},
	{"negative zero", "x.json", with(`"note":-0`), "schema", "text is wanted"},
	{"NaN", "x.json", with(`"note":NaN`), "syntax", "cannot begin a value"},
	{"Infinity", "x.json", with(`"note":-Infinity`), "syntax", "JSON form"},
	{"plus sign", "x.json", with(`"note":+1`), "syntax", "cannot begin a value"},
	{"leading zero", "x.json", with(`"note":010`), "syntax", "leading zeros"},
	{"hexadecimal", "x.json", with(`"note":0x1F`), "syntax", ""},
	{"no digits behind the point", "x.json", with(`"note":1.`), "syntax", "JSON form"},
	{"YAML exponent", "x.yaml", yamlWith("note: 1e1000001"), "limits", "exponent"},
	{"YAML negative zero", "x.yaml", yamlWith("note: -0"), "exact-scalar", "format back"},
	{"YAML octal", "x.yaml", yamlWith("note: 010"), "exact-scalar", "leading zeros"},
	{"YAML new octal", "x.yaml", yamlWith("note: 0o17"), "exact-scalar", "different numbers"},
	{"YAML hexadecimal", "x.yaml", yamlWith("note: 0x1F"), "exact-scalar", "different numbers"},
	{"YAML binary", "x.yaml", yamlWith("note: 0b11"), "exact-scalar", "different numbers"},
	{"YAML underscores", "x.yaml", yamlWith("note: 1_000"), "exact-scalar", "different numbers"},
	{"YAML sexagesimal", "x.yaml", yamlWith("note: 1:30"), "exact-scalar", "different numbers"},
	{"YAML infinity", "x.yaml", yamlWith("note: -.inf"), "exact-scalar", "different numbers"},
	{"YAML not a number", "x.yaml", yamlWith("note: .NaN"), "exact-scalar", "different numbers"},
	{"YAML yes", "x.yaml", yamlWith("note: yes"), "exact-scalar", "write true"},
	{"YAML off", "x.yaml", yamlWith("note: Off"), "exact-scalar", "write false"},
	{"YAML tilde", "x.yaml", yamlWith("note: ~"), "exact-scalar", "no value"},
	{"YAML empty value", "x.yaml", yamlWith("note:"), "schema", "no value"},

	{"10,000 lists", "x.json", nested("[", "", "]", 10_000), "limits", "deeper than 64"},
	{"10,000 objects", "x.json", nested(`{"a":`, "1", "}", 10_000), "limits", "deeper than 64"},
	{"65 lists in a member", "x.json", with(`"note":` + nested("[", "", "]", 65)), "limits", "deeper than 64"},
	{"a megabyte of brackets", "x.json", strings.Repeat("[", document.MaxBytes), "limits", "deeper than 64"},
	{"YAML 10,000 flow lists", "x.yaml", nested("[", "", "]", 9_990), "limits", "deeper than 64"},
	{"YAML 10,001 flow lists", "x.yaml", nested("[", "", "]", 10_001), "", ""},
	{"YAML 5,000 flow objects", "x.yaml", nested("{a: ", "1", "}", 5_000), "limits", "deeper than 64"},
	{"YAML a megabyte of brackets", "x.yaml", strings.Repeat("[", document.MaxBytes), "", ""},
	{"YAML a megabyte of braces", "x.yaml", strings.Repeat("{", document.MaxBytes), "", ""},
	{"YAML a megabyte of dashes", "x.yaml", strings.Repeat("- ", document.MaxBytes/2), "", ""},
	{"YAML a megabyte of question marks", "x.yaml", strings.Repeat("? ", document.MaxBytes/2), "", ""},
	{"YAML a megabyte of colons", "x.yaml", strings.Repeat(": ", document.MaxBytes/2), "", ""},
	{"YAML block objects to the size limit", "x.yaml", steps(), "", ""},
	{"YAML block lists", "x.yaml", nested("- ", "x", "", 9_990), "limits", "deeper than 64"},
	{"YAML nested in one line", "x.yaml", nested("[a, {b: ", "1", "}]", 4_000), "limits", "deeper than 64"},

	{"duplicate key", "x.json", with(`"title":"B"`), "duplicate-key", "stands twice"},
	{"duplicate key written with an escape", "x.json", with(`"t\u0069tle":"B"`), "duplicate-key", "stands twice"},
	{"YAML duplicate key", "x.yaml", yamlWith("title: B"), "duplicate-key", "first on line 3"},
	{"YAML duplicate key in quotes", "x.yaml", yamlWith(`"title": B`), "duplicate-key", "stands twice"},
	{"keys that differ by Unicode normalisation", "x.json", with("\"caf\u00e9\":1,\"cafe\u0301\":2"), "schema", "unknown"},
	{"key in another case", "x.json", strings.Replace(soundSource, `"title"`, `"Title"`, 1), "schema", `"Title" is unknown`},
	{"key of a prototype", "x.json", with(`"__proto__":{"a":1}`), "schema", "unknown"},
	{"key that names a schema", "x.json", with(`"$ref":"file:///etc/passwd"`), "schema", "unknown"},
	{"key of a megabyte", "x.json", with(`"` + strings.Repeat("k", document.MaxBytes-200) + `":1`), "limits", "bytes"},
	{"key of 60 KiB", "x.json", with(`"` + strings.Repeat("k", 60<<10) + `":1`), "schema", "unknown"},
	{"100,000 keys", "x.json", manyKeys(75_000), "limits", "more than 10000 keys"},
	{"just fewer keys than allowed", "x.json", manyKeys(9_900), "schema", "unknown"},
	{"YAML 100,000 keys", "x.yaml", manyLines(80_000), "limits", "more than"},
	{"YAML just fewer keys than allowed", "x.yaml", "kind: source\n" + manyLines(9_900), "schema", "unknown"},
	{"half a million list entries", "x.json", with(`"concerns":[` + strings.TrimSuffix(strings.Repeat("0,", 500_000), ",") + `]`), "limits", "more than 1000 entries"},
	{"1,000 list entries", "x.json", with(`"concerns":[` + strings.TrimSuffix(strings.Repeat(`"a",`, 1_000), ",") + `]`), "schema", "1000 entries"},
	{"19 lists of 1,000 entries", "x.json", with(`"concerns":[` + strings.TrimSuffix(strings.Repeat(`[`+strings.TrimSuffix(strings.Repeat(`0,`, 1_000), ",")+`],`, 19), ",") + `]`), "schema", "concerns"},
	{"19 waivers of nothing", "x.json", with(`"waivers":[` + strings.TrimSuffix(strings.Repeat(`{},`, 1_000), ",") + `]`), "schema", "rule is missing"},
	{"YAML list entries", "x.yaml", yamlWith("concerns: [" + strings.TrimSuffix(strings.Repeat("a,", 100_000), ",") + "]"), "limits", "more than"},
	{"string of 100 KiB", "x.json", with(`"note":"` + strings.Repeat("n", 100<<10) + `"`), "limits", "allowed: 65536"},
	{"YAML string of 100 KiB", "x.yaml", yamlWith("note: " + strings.Repeat("n", 100<<10)), "limits", "allowed: 65536"},
	{"YAML block of 100 KiB", "x.yaml", yamlWith("note: |\n" + strings.Repeat("  "+strings.Repeat("n", 100)+"\n", 1_000)), "limits", "allowed: 65536"},
	{"YAML line breaks", "x.yaml", strings.Repeat("\n", document.MaxBytes), "syntax", "empty"},
	{"YAML comments", "x.yaml", yamlWith(strings.Repeat("#\n", 400_000) + "note: no"), "", ""},
	{"too large", "x.json", strings.Repeat(" ", document.MaxBytes+1), "limits", "1048577 bytes"},

	{"lone high surrogate", "x.json", with(`"note":"\ud800"`), "syntax", "backslash sequence"},
	{"lone low surrogate", "x.json", with(`"note":"\udc00"`), "syntax", "backslash sequence"},
	{"surrogates the wrong way round", "x.json", with(`"note":"\udc00\ud800"`), "syntax", "backslash sequence"},
	{"high surrogate before a letter", "x.json", with(`"note":"\ud800\u0041"`), "syntax", "backslash sequence"},
	{"surrogate in UTF-8", "x.json", with("\"note\":\"\xed\xa0\x80\""), "syntax", "not UTF-8"},
	{"YAML lone surrogate", "x.yaml", yamlWith(`note: "\ud800"`), "", ""},
	{"byte that is no UTF-8", "x.json", with("\"note\":\"\xff\""), "syntax", "not UTF-8"},
	{"overlong UTF-8", "x.yaml", yamlWith("note: \xc0\xaf"), "syntax", "not UTF-8"},
	{"UTF-16", "x.yaml", "\xff\xfek\x00i\x00n\x00d\x00", "syntax", "not UTF-8"},
	{"NUL", "x.json", with("\"note\":\"\x00\""), "syntax", "NUL"},
	{"NUL as an escape", "x.json", with(`"note":"\u0000"`), "syntax", "U+0000"},
	{"YAML NUL as an escape", "x.yaml", yamlWith(`note: "a\0b"`), "syntax", "U+0000"},
	{"raw control character", "x.json", with("\"note\":\"\x01\""), "syntax", "U+0001"},
	{"control character as an escape", "x.json", with(`"title2":"","note":"\u0007"`), "schema", ""},
	{"escape that is none", "x.json", with(`"note":"\x41"`), "syntax", "backslash sequence"},
	{"byte order mark", "x.json", "\xef\xbb\xbf" + soundSource, "syntax", "byte order mark"},
	{"byte order mark inside", "x.json", with("\"note\":\"\ufeff\""), "syntax", "U+FEFF"},
	{"right-to-left override", "x.json", with(`"note":"240 \u202e0.42 N.m"`), "syntax", "note holds an escape for U+202E"},
	{"line break in a title", "x.json", strings.Replace(soundSource, `"A"`, `"A\r\nSet-Cookie: x"`, 1), "schema", "title"},
	{"homoglyph in an id", "x.json", strings.Replace(soundSource, `"id":"a"`, "\"id\":\"\u0430\"", 1), "schema", "id"},
	{"id that climbs", "x.json", strings.Replace(soundSource, `"id":"a"`, `"id":"../a"`, 1), "schema", "id"},
	{"id with an escaped slash", "x.json", strings.Replace(soundSource, `"id":"a"`, `"id":"a%2fb"`, 1), "schema", "id"},
	{"id of 81 characters", "x.json", strings.Replace(soundSource, `"id":"a"`, `"id":"`+strings.Repeat("a", 81)+`"`, 1), "schema", "81 characters"},
	{"id that is an object", "x.json", strings.Replace(soundSource, `"id":"a"`, `"id":{"a":"b"}`, 1), "schema", "id"},

	{"nothing", "x.json", "", "syntax", "empty"},
	{"spaces", "x.yaml", " \n\n ", "syntax", "empty"},
	{"YAML comment only", "x.yaml", "# nothing\n", "", ""},
	{"YAML separator only", "x.yaml", "---\n", "schema", "not a record"},
	{"cut short", "x.json", soundSource[:len(soundSource)-1], "syntax", "cut short"},
	{"cut short in a string", "x.json", soundSource[:20], "syntax", "cut short"},
	{"two documents", "x.json", soundSource + soundSource, "syntax", "behind its end"},
	{"comma before the end", "x.json", soundSource[:len(soundSource)-1] + ",}", "syntax", "comma"},
	{"comment in JSON", "x.json", "// a\n" + soundSource, "syntax", "cannot begin a value"},
	{"list of records", "x.json", "[" + soundSource + "]", "schema", "not a record"},
	{"a word", "x.json", "null", "schema", "not a record"},
	{"kind that is a list", "x.json", `{"kind":["source"]}`, "schema", "kind"},
	{"kind of another", "x.json", `{"kind":"soruce"}`, "schema", `did you mean "source"`},

	{"5,000 duplicate keys", "x.json", "{" + strings.TrimPrefix(strings.Repeat(manyKeys(4_900)[len(soundSource)-1:len(manyKeys(4_900))-1], 2), ",") + "}", "duplicate-key", "stands twice"},
	{"YAML quoted list on few lines", "x.yaml", "&a\n" + yamlWith(strings.Repeat("concerns: ["+strings.Repeat("'é', ", 15_000)+"a]\n", 1)), "", ""},
	{"YAML alias bomb", "x.yaml", laughs(), "plain-yaml", "alias"},
	{"YAML anchor of itself", "x.yaml", yamlWith("note: &a [*a]"), "", ""},
	{"YAML anchor", "x.yaml", yamlWith("note: &a b"), "plain-yaml", "anchor &a"},
	{"YAML merge key", "x.yaml", yamlWith("<<: {note: b}"), "plain-yaml", "merge key"},
	{"YAML tag", "x.yaml", yamlWith("note: !!python/object:os.system rm"), "plain-yaml", "tag"},
	{"YAML tag of text", "x.yaml", yamlWith("note: !!str b"), "plain-yaml", "tag"},
	{"YAML binary tag", "x.yaml", yamlWith("note: !!binary aGk="), "plain-yaml", "tag"},
	{"YAML tag without a name", "x.yaml", yamlWith("note: ! 12"), "plain-yaml", "tag"},
	{"YAML second document", "x.yaml", yamlWith("---\nkind: source"), "plain-yaml", "second document"},
	{"YAML tab", "x.yaml", yamlWith("concerns:\n\t- a"), "syntax", ""},
	{"YAML key that is a number", "x.yaml", yamlWith("1: a"), "syntax", "not text"},
	{"YAML key that is a truth value", "x.yaml", yamlWith("on: a"), "schema", `"on" is unknown`},
	{"YAML key that is a list", "x.yaml", yamlWith("[a, b]: c"), "syntax", "not text"},
	{"YAML key of a key", "x.yaml", yamlWith("? {a: b}\n: c"), "syntax", "not text"},
	{"YAML bare quantity", "x.yaml", "kind: vehicle\nmass_laden: 1800\n", "schema", "unit is never guessed"},
	{"YAML unclosed quote", "x.yaml", yamlWith("note: \"a"), "syntax", "not closed on its line"},
	{"YAML directive", "x.yaml", "%TAG ! tag:example.com,2000:\n---\n" + yamlWith("note: !x b"), "plain-yaml", "tag"},
	{"YAML percent signs", "x.yaml", strings.Repeat("%", document.MaxBytes), "", ""},
	{"YAML quotes", "x.yaml", strings.Repeat("'", document.MaxBytes), "", ""},
	{"YAML exclamation marks", "x.yaml", strings.Repeat("!", document.MaxBytes), "", ""},
	{"YAML ampersands", "x.yaml", strings.Repeat("&a ", document.MaxBytes/3), "", ""},
	{"YAML asterisks", "x.yaml", strings.Repeat("*a ", document.MaxBytes/3), "", ""},
	{"YAML flow commas", "x.yaml", "[" + strings.Repeat(",", document.MaxBytes-2), "", ""},
	{"YAML flow pairs", "x.yaml", "[" + strings.Repeat("a: b, ", document.MaxBytes/6-1) + "]", "", ""},
	{"YAML keys just within the marks", "x.yaml", "&a\n" + manyLines(document.MaxMarks/2-10), "", ""},
	{"YAML comments just within the marks", "x.yaml", yamlWith(strings.Repeat("# a\n", document.MaxMarks-100) + "note: no"), "", ""},
	{"YAML lines just within the limit", "x.yaml", yamlWith(strings.Repeat("# "+strings.Repeat("a ", document.MaxLine/2-2)+"\n", 7) + "note: no"), "", ""},
	{"YAML plain lines just within the limit", "x.yaml", "a: " + strings.Repeat(strings.Repeat("a ", document.MaxLine/2-2)+"\n ", 7), "", ""},
	{"YAML plain text of a megabyte", "x.yaml", strings.Repeat("a ", document.MaxBytes/2), "", ""},
	{"YAML spaces before a key", "x.yaml", yamlWith(strings.Repeat(" ", 900_000) + "note: b"), "", ""},
	{"YAML folded lines", "x.yaml", "a: \"" + strings.Repeat("\n", 900_000) + "\"", "", ""},
}

// crowded is text with as many marks as are allowed behind a bracket that begins a
// line, where a key could: the YAML library keeps every token from there to where
// the bracket closes.
var crowded = []hostileText{
	{"YAML flow pairs just within the marks", "x.yaml", crowd("[", document.MaxMarks, "]"), "limits", "more than 1000 entries"},
	{"YAML flow pairs below a key", "x.yaml", crowd("concerns:\n  [", document.MaxMarks, "]"), "limits", "more than 1000 entries"},
	{"YAML flow pairs behind a dash", "x.yaml", crowd("- [", document.MaxMarks, "]"), "limits", "more than 1000 entries"},
	{"YAML flow pairs in braces", "x.yaml", crowd("{", document.MaxMarks, "}"), "duplicate-key", "stands twice"},
}

// crowd returns a text with the pairs of a flow that has nearly as many marks as given.
func crowd(open string, marks int, end string) string {
	return open + strings.Repeat("a: b, ", marks/2-10) + end
}

// within is how long refusing may take on a machine that does nothing else. The
// test measures in units of a fixed piece of work done in the same moment, which
// takes five milliseconds there, so that a busy machine or a slow one does not
// change the verdict.
const (
	within = 50 * time.Millisecond
	unit   = 5 * time.Millisecond
	// withinCrowded is the same for crowded text. The YAML library alone takes 35 to
	// 60 milliseconds for it, nineteen parts in twenty of the whole, and no part of it
	// can be left out: what a bracket holds is known when it has been read. The cost
	// grows with the marks (TestCrowdedTextCostsInProportion) and MaxMarks ends it.
	withinCrowded = 100 * time.Millisecond
)

// race reports whether the race detector runs, under which no time means anything.
var race = func() bool {
	info, _ := debug.ReadBuildInfo()
	return slices.Contains(info.Settings, debug.BuildSetting{Key: "-race", Value: "true"})
}()

var sink uint64

// work does the piece of work and returns how long it took.
func work() time.Duration {
	start := time.Now()
	table := make([]uint64, 1<<12)
	h := uint64(14695981039346656037)
	for i := range uint64(3_380_000) {
		h = (h ^ i) * 1099511628211
		table[h&(1<<12-1)] += h
	}
	sink += table[0]
	return time.Since(start)
}

func TestHostileTextIsRefused(t *testing.T) {
	refuse(t, hostile, within)
	refuse(t, crowded, withinCrowded)
}

// refuse checks that each text is refused, for its reason and in time.
func refuse(t *testing.T, texts []hostileText, within time.Duration) {
	for _, tt := range texts {
		t.Run(tt.name, func(t *testing.T) {
			best := 1000.0
			for try := 0; try == 0 || try < 8 && best > float64(within/unit) && !race; try++ {
				start := time.Now()
				d, findings := document.Read(tt.file, []byte(tt.text))
				took := time.Since(start)
				if best = min(best, float64(took)/float64(unit)); best > float64(within/unit) && !race {
					best = min(best, float64(took)/float64(work()))
				}
				if d != nil || len(findings) == 0 {
					t.Fatal("was taken")
				}
				if len(findings) > 100 {
					t.Fatalf("%d findings", len(findings))
				}
				if !slices.ContainsFunc(findings, func(f specdata.Finding) bool {
					return (tt.rule == "" || f.Rule == tt.rule) && strings.Contains(f.Message, tt.says)
				}) {
					t.Fatalf("%s: %s; want %s: …%s…", findings[0].Rule, findings[0].Message, tt.rule, tt.says)
				}
				for _, f := range findings {
					if f.File != tt.file || f.Line < 1 || f.Column < 1 || f.Message == "" || len(f.Message) > 1500 || !utf8.ValidString(f.Message) {
						t.Fatalf("finding cannot be read by a person: %+v", f)
					}
				}
			}
			if best > float64(within/unit) && !race {
				t.Errorf("took %.1f units of work; allowed: %d", best, within/unit)
			}
		})
	}
}

// What the YAML library takes for crowded text grows with the marks and no faster:
// four times the marks, four times the memory, plus a part for the rounding of its
// queue to a size that Go allocates. In proportion to the square it would be sixteen.
func TestCrowdedTextCostsInProportion(t *testing.T) {
	for _, tt := range crowded {
		open, _, _ := strings.Cut(tt.text, "a: b")
		end := tt.text[len(tt.text)-1:]
		cost := func(marks int) uint64 {
			text := []byte(crowd(open, marks, end))
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			document.Read(tt.file, text)
			runtime.ReadMemStats(&after)
			return after.TotalAlloc - before.TotalAlloc
		}
		if quarter, whole := cost(document.MaxMarks/4), cost(document.MaxMarks); whole > 6*quarter {
			t.Errorf("%s: %d bytes for a quarter of the marks, %d for all", tt.name, quarter, whole)
		}
	}
}
