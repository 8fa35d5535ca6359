package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// mistake is a slip that an editor makes in one file of the tests' library.
type mistake struct {
	name, file, was, is string
}

const (
	bolt    = "fasteners/tansy-2-wheel-bolt.yaml"
	vehicle = "vehicles/tansy-2.yaml"
	source  = "sources/tansy-2-chassis.yaml"
)

// The mistakes were written before the messages: what people type who know the work
// and not the format (common practice, no source).
var mistakes = []mistake{
	// Text that YAML reads otherwise than people do.
	{"a colon in a text", bolt, "title: Wheel bolt", "title: Wheel bolt: front and rear"},
	{"a colon in a text of a list", vehicle, "markets: [GB, IE]", "markets:\n  - GB: all\n  - IE"},
	{"a colon in a text between braces", bolt, "{order: star}", "{order: star, note: twice: then again}"},
	{"a number sign eats the rest of a text", bolt, "title: Wheel bolt", "title: Wheel bolt #2"},
	{"a number sign eats the rest of a place", bolt, "at: sheet 4 row 9", "at: sheet #4 row 9"},
	{"a number sign and a space before a digit", bolt, "title: Wheel bolt", "title: Wheel bolt # 2"},
	{"a number sign behind a torque", bolt, "count: 5", "count: 5 #five"},
	{"an open double quote", bolt, "title: Wheel bolt", "title: \"Wheel bolt"},
	{"an open double quote at a later line", source, `date: "2019-03-01"`, `date: "2019-03-01`},
	{"an open single quote", bolt, "title: Wheel bolt", "title: 'Wheel bolt"},
	{"an apostrophe in single quotes", bolt, "title: Wheel bolt", "title: 'Maker's wheel bolt'"},
	{"an inch mark in double quotes", bolt, "title: Wheel bolt", `title: "Wheel bolt 1/2" drive"`},
	{"words behind a quoted text", bolt, "title: Wheel bolt", `title: "Wheel" bolt`},
	{"a backslash in double quotes", bolt, "title: Wheel bolt", `title: "Wheel\steel bolt"`},
	{"a text that begins with an at sign", bolt, "at: sheet 4 row 9", "at: @sheet 4 row 9"},
	{"a text that begins with a percent sign", bolt, "title: Wheel bolt", "title: %5 wheel bolt"},
	{"a text that begins with a star", bolt, "title: Wheel bolt", "title: *Wheel bolt"},
	{"a text that begins with an exclamation mark", bolt, "title: Wheel bolt", "title: !Wheel bolt"},
	{"a text that begins with an ampersand", bolt, "title: Wheel bolt", "title: &Wheel bolt"},
	{"a text that begins with a bracket", bolt, "title: Wheel bolt", "title: [new] wheel bolt"},
	{"a text that begins with a greater-than sign", bolt, "place: wheel", "place: > wheel"},
	{"a dash in front of a value", bolt, "place: wheel", "place: - wheel"},
	// Indentation and layout.
	{"a tab indents a line", bolt, "  tolerance: 10 %", "\ttolerance: 10 %"},
	{"a line indented by one too few", bolt, "  tolerance: 10 %", " tolerance: 10 %"},
	{"a line indented by one too many", bolt, "  tolerance: 10 %", "   tolerance: 10 %"},
	{"a top-level line indented", bolt, "place: wheel", " place: wheel"},
	{"no space behind a colon", bolt, "place: wheel", "place:wheel"},
	{"no colon", bolt, "place: wheel", "place wheel"},
	{"an equals sign", bolt, "place: wheel", "place = wheel"},
	{"a semicolon", bolt, "{order: star}", "{order: star; note: again}"},
	{"an open brace", bolt, "drive: {turn: head, head: hex 17 mm, special: true}", "drive: {turn: head, head: hex 17 mm, special: true"},
	{"an open bracket", vehicle, "markets: [GB, IE]", "markets: [GB, IE"},
	{"a comma missing between braces", bolt, "{turn: head, head: hex 17 mm, special: true}", "{turn: head head: hex 17 mm, special: true}"},
	{"a bracket closed by a brace", vehicle, "markets: [GB, IE]", "markets: [GB, IE}"},
	{"a dash without its space", bolt, "  - {vehicle: tansy-2, side: each}", "  -{vehicle: tansy-2, side: each}"},
	{"a key twice", bolt, "count: 5", "count: 5\ncount: 4"},
	{"a second record in the file", bolt, "safety: wheel", "---\nsafety: wheel"},
	{"two keys on a line", bolt, "count: 5\njoint: wheel", "count: 5 joint: wheel"},
	{"capital letters in keys", bolt, "place: wheel", "Place: wheel"},
	{"typographic quotes", vehicle, `model: "2"`, "model: “2”"},
	// Numbers and units.
	{"a decimal comma", bolt, "torque: 110 N.m", "torque: 110,5 N.m"},
	{"a decimal comma in a block", bolt, "stages: [{torque: 110 N.m, also: 81 lbf.ft}]", "stages:\n    - torque: 110,5 N.m"},
	{"a thousands comma in a block", vehicle, "mass_laden: 1680 kg", "mass_laden: 1,680 kg"},
	{"no unit", bolt, "torque: 110 N.m", "torque: 110"},
	{"no space before the unit", bolt, "torque: 110 N.m", "torque: 110N.m"},
	{"the unit as people say it", bolt, "torque: 110 N.m", "torque: 110 Nm"},
	{"the unit in capitals", bolt, "torque: 110 N.m", "torque: 110 NM"},
	{"foot-pounds as people write them", bolt, "also: 81 lbf.ft", "also: 81 ft-lbs"},
	{"a range with a dash", bolt, "torque: 110 N.m", "torque: 105-115 N.m"},
	{"a tolerance with a sign", bolt, "tolerance: 10 %", "tolerance: +/- 10 %"},
	{"a unit of something else", bolt, "torque: 110 N.m", "torque: 110 mm"},
	{"a class read as a number", bolt, `strength: {bolt: "10.9"}`, "strength: {bolt: 10.9}"},
	{"a model read as a number", vehicle, `model: "2"`, "model: 2"},
	{"a count in words", bolt, "count: 5", "count: five"},
	{"a thread without its pitch", bolt, "M12x1.5", "M12"},
	{"a thread with a multiplication sign", bolt, "M12x1.5", "M12×1.5"},
	{"yes for true", bolt, "special: true", "special: yes"},
	{"a day as people write it", source, `date: "2019-03-01"`, `date: "1.3.2019"`},
	{"a day with the month in words", source, `date: "2019-03-01"`, "date: 1 March 2019"},
	{"a day that is none", source, `date: "2019-03-01"`, `date: "2019-02-30"`},
	// Keys and words of the form.
	{"a misspelt key", bolt, "title: Wheel bolt", "titel: Wheel bolt"},
	{"a misspelt key of a vehicle", vehicle, "make: Tansy", "maker: Tansy"},
	{"a key missing", vehicle, "make: Tansy\n", ""},
	{"an object missing", bolt, "drive: {turn: head, head: hex 17 mm, special: true}\n", ""},
	{"a value missing", bolt, "place: wheel", "place:"},
	{"a word that is not on the list", bolt, "joint: wheel", "joint: weel"},
	{"a word in capitals", bolt, "joint: wheel", "joint: Wheel"},
	{"a kind that does not exist", bolt, "kind: fastener", "kind: bolt"},
	{"an id with spaces", bolt, "id: tansy-2-wheel-bolt", "id: Tansy 2 wheel bolt"},
	{"an id that is not the file's", bolt, "id: tansy-2-wheel-bolt", "id: tansy-2-wheel-nut"},
	{"a vehicle that does not exist", bolt, "{vehicle: tansy-2, side: each}", "{vehicle: tansy-3, side: each}"},
	{"one entry where a list is wanted", vehicle, "markets: [GB, IE]", "markets: GB"},
	{"a list where one is wanted", bolt, "place: wheel", "place: [wheel]"},
	// Characters that hide or are not what they seem.
	{"a line separator in a comment", bolt, "place: wheel", "place: wheel # as printed\u2028note: hidden"},
	{"a next line in a comment", bolt, "place: wheel", "place: wheel # as printed\u0085note: hidden"},
	{"a carriage return in a comment", bolt, "place: wheel", "place: wheel # as printed\rnote: hidden"},
	{"a turned direction in a comment", bolt, "place: wheel", "place: wheel # as \u202eprinted"},
	{"a zero-width space in a value", bolt, "place: wheel", "place: whe\u200bel"},
	{"a no-break space before a unit", bolt, "torque: 110 N.m", "torque: 110\u00a0N.m"},
	{"a no-break space as indentation", bolt, "  tolerance: 10 %", "\u00a0\u00a0tolerance: 10 %"},
	{"a byte order mark", bolt, "kind: fastener", "\ufeffkind: fastener"},
	{"another encoding", bolt, "title: Wheel bolt", "title: Stra\xdfe bolt"},
	{"an empty file", bolt, "*", ""},
	{"a file of comments", bolt, "*", "# to do\n"},
	// What editors typed who had not seen the list above.
	{"vehicle id misspelt by a letter", bolt, "{vehicle: tansy-2, side: each}", "{vehicle: tansy2, side: each}"},
	{"a Cyrillic letter in a thread", bolt, "designation: M12x1.5", "designation: M12х1.5"},
	{"a Cyrillic M in a thread", bolt, "designation: M12x1.5", "designation: М12x1.5"},
	{"a multiplication sign and a decimal comma in a thread", bolt, "designation: M12x1.5", "designation: M12×1,5"},
	{"a capital X in a thread", bolt, "designation: M12x1.5", "designation: M12X1.5"},
	{"a thread with blanks", bolt, "designation: M12x1.5", "designation: M 12 x 1.5"},
	{"a thread with a hyphen", bolt, "designation: M12x1.5", "designation: M12-1.5"},
	{"a place with a number sign in front", bolt, "at: sheet 4 row 9", "at: #4"},
	{"a nickname of a side", bolt, "side: each", "side: offside"},
	{"the side in another column", bolt, "side: each", "side: both"},
	{"a middle dot in a unit", bolt, "torque: 110 N.m", "torque: 110 N·m"},
	{"a hyphen in a unit", bolt, "torque: 110 N.m", "torque: 110 N-m"},
	{"newton meters in words", bolt, "torque: 110 N.m", "torque: 110 newton metres"},
	{"a kilogram for a torque", bolt, "torque: 110 N.m", "torque: 11 kg.m"},
	{"letter O for zero", bolt, "torque: 110 N.m", "torque: 11O N.m"},
	{"tolerance without a percent sign", bolt, "tolerance: 10 %", "tolerance: 10"},
	{"tolerance with the sign set tight", bolt, "tolerance: 10 %", "tolerance: 10%"},
	{"tolerance as a plus-minus of torque", bolt, "tolerance: 10 %", "tolerance: ± 5 N.m"},
	{"an angle with the degree sign", bolt, "[{torque: 110 N.m, also: 81 lbf.ft}]", "[{torque: 60 N.m}, {angle: 90°}]"},
	{"an angle without a unit", bolt, "[{torque: 110 N.m, also: 81 lbf.ft}]", "[{torque: 60 N.m}, {angle: 90}]"},
	{"torque and angle in one stage", bolt, "[{torque: 110 N.m, also: 81 lbf.ft}]", "[{torque: 60 N.m, angle: 90 deg}]"},
	{"a stage without its list", bolt, "stages: [{torque: 110 N.m, also: 81 lbf.ft}]", "stages: {torque: 110 N.m, also: 81 lbf.ft}"},
	{"a torque where stages belong", bolt, "stages: [{torque: 110 N.m, also: 81 lbf.ft}]", "torque: 110 N.m"},
	{"a size without its form", bolt, "head: hex 17 mm", "head: 17 mm"},
	{"a size as people say it", bolt, "head: hex 17 mm", "head: 17mm hex"},
	{"a source that does not exist", bolt, "document: tansy-2-chassis", "document: tansy-2-chasis"},
	{"a source by its title", bolt, "document: tansy-2-chassis", "document: Tansy 2 chassis data"},
	{"a reader who is also the writer", bolt, "checked_by: Piet Oram", "checked_by: Maud Ibbot"},
	{"a day in the future", bolt, `read_on: "2026-09-14"`, `read_on: "2062-09-14"`},
	{"day and month swapped", bolt, `read_on: "2026-09-14"`, `read_on: "2026-14-09"`},
	{"a day with slashes", bolt, `read_on: "2026-09-14"`, "read_on: 14/09/2026"},
	{"a year with two digits", source, `date: "2019-03-01"`, "date: 03-2019"},
	{"a build range upside down", vehicle, `{from: "2014-01-06", to: "2022-12-16"}`, `{from: "2022-12-16", to: "2014-01-06"}`},
	{"a build year alone", vehicle, `{from: "2014-01-06", to: "2022-12-16"}`, "{from: 2014, to: 2022}"},
	{"an option with a typing slip", bolt, "{vehicle: tansy-2, side: each}", "{vehicle: tansy-2, side: each, where: {rear_brake: [disk]}}"},
	{"an option key of none", bolt, "{vehicle: tansy-2, side: each}", "{vehicle: tansy-2, side: each, where: {brake: [disc]}}"},
	{"an option value without its list", bolt, "{vehicle: tansy-2, side: each}", "{vehicle: tansy-2, side: each, where: {rear_brake: disc}}"},
	{"a market of three letters", vehicle, "markets: [GB, IE]", "markets: [GBR, IRL]"},
	{"a market by name", vehicle, "markets: [GB, IE]", "markets: [United Kingdom]"},
	{"a comment behind a brace", bolt, "{order: star}", "{order: star # as printed}"},
	{"a quote closed by the other kind", bolt, "title: Wheel bolt", `title: "Wheel bolt'`},
	{"a block text without its indentation", bolt, "title: Wheel bolt", "title: |\nWheel bolt"},
	{"two spaces less in a list", bolt, "  - {vehicle: tansy-2, side: each}", "- {vehicle: tansy-2, side: each}\n- vehicle tansy-2"},
	{"applies_to as one object", bolt, "  - {vehicle: tansy-2, side: each}", "  vehicle: tansy-2\n  side: each"},
	{"count with a unit", bolt, "count: 5", "count: 5 pcs"},
	{"count in quotes", bolt, "count: 5", `count: "5"`},
	{"count with a multiplication sign", bolt, "count: 5", "count: 5x"},
	{"zero of them", bolt, "count: 5", "count: 0"},
	{"a follow-up by its old word", bolt, "check: recheck-torque", "check: retorque"},
	{"a reuse word of the shop", bolt, "reuse: {rule: reuse}", "reuse: {rule: single-use}"},
	{"reuse as a truth value", bolt, "reuse: {rule: reuse}", "reuse: no"},
	{"a waiver without a reason", bolt, "safety: wheel", "safety: wheel\nwaivers: [{rule: torque-over-yield, at: /tightening}]"},
	{"class with a blank", bolt, `bolt: "10.9"`, `bolt: "10. 9"`},
	{"class with a comma", bolt, `bolt: "10.9"`, `bolt: "10,9"`},
	{"property spelt as British plural", bolt, "strength:", "strengths:"},
	{"a German letter in an id", bolt, "id: tansy-2-wheel-bolt", "id: tansy-2-rädbolzen"},
	{"an id in capitals", bolt, "id: tansy-2-wheel-bolt", "id: TANSY-2-wheel-bolt"},
	{"an underscore in an id", bolt, "id: tansy-2-wheel-bolt", "id: tansy_2_wheel_bolt"},
	{"the quote and the value differ", bolt, "quote: 110 N.m (81 lbf.ft)", "quote: 101 N.m (81 lbf.ft)"},
}

// TestMistakes shows what an editor is told: the golden file holds each slip with the
// messages of the program before they were looked at, and those of now.
func TestMistakes(t *testing.T) {
	before := beforeOf(t)
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	for _, m := range mistakes {
		dir := filepath.Join(t.TempDir(), "lib")
		if err := os.CopyFS(dir, os.DirFS(filepath.Join(here, "testdata", "library"))); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, filepath.FromSlash(m.file))
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		slip := m.is
		if m.was != "*" {
			if slip = strings.Replace(string(text), m.was, m.is, 1); slip == string(text) {
				t.Fatalf("%s: %q does not stand in %s", m.name, m.was, m.file)
			}
		}
		if err := os.WriteFile(file, []byte(slip), 0o644); err != nil {
			t.Fatal(err)
		}
		var out screen
		t.Chdir(dir)
		e := testEnv(&out, &out)
		code := run(context.Background(), e, []string{"lint", "--date", "2026-11-25"})
		if code != exitFindings {
			t.Errorf("%s: exit code %d, want %d\n%s", m.name, code, exitFindings, out.text())
		}
		for _, talk := range []string{" yaml: ", "go-yaml", "did not find", "in this context", "while parsing", "strconv"} {
			if strings.Contains(out.text(), talk) {
				t.Errorf("%s: the message talks like a parser (%q):\n%s", m.name, talk, out.text())
			}
		}
		fmt.Fprintf(&got, "## %s\n%s\nBefore:\n%sNow:\n%s\n", m.name, visible(m.is), before[m.name], visible(saidOf(m.file, out.text())))
	}
	golden := filepath.Join(here, "testdata", "mistakes.golden")
	if *update {
		if err := os.WriteFile(golden, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want) {
		t.Errorf("messages are not those of %s; look at them, then go test ./tools/proofload -run TestMistakes -update", golden)
	}
}

// saidOf keeps what is said about a file.
func saidOf(file, said string) string {
	var b strings.Builder
	for _, l := range strings.SplitAfter(said, "\n") {
		if strings.HasPrefix(l, file) {
			b.WriteString(l)
		}
	}
	return b.String()
}

// visible indents a text, with what cannot be seen written out.
func visible(s string) string {
	var b strings.Builder
	for _, l := range strings.Split(strings.TrimSuffix(s, "\n"), "\n") {
		q := fmt.Sprintf("%+q", l)
		q = strings.NewReplacer(`\"`, `"`, `\\`, `\`).Replace(q[1 : len(q)-1])
		for _, shown := range []string{"·", "×", "°", "µ", "–", "“", "”", "±"} {
			q = strings.ReplaceAll(q, strings.Trim(fmt.Sprintf("%+q", shown), `"`), shown)
		}
		fmt.Fprintln(&b, strings.TrimRight("    "+q, " "))
	}
	return b.String()
}

// beforeOf reads what the program said before, which stays as it was.
func beforeOf(t *testing.T) map[string]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "mistakes.before"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, part := range strings.Split(string(text), "## ")[1:] {
		name, said, _ := strings.Cut(part, "\n")
		out[name] = said
	}
	return out
}
