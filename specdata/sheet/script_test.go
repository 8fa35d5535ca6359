package sheet_test

import (
	"bytes"
	"errors"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
)

// scripts are words in scripts that people keep records in; Hebrew reads from the right.
var scripts = map[string]string{
	"Latin":     "Šroub náboje Ł, façade ≤ 0.05 mm ≥ 0.01 mm ¼ ⅝ Ω → ≈ µ",
	"Greek":     "Κοχλίας τροχού",
	"Cyrillic":  "Подшипник ступицы",
	"Armenian":  "Անիվի պտուտակ",
	"Georgian":  "ბორბლის ქანჩი",
	"Hebrew":    "בורג גלגל ועוד אום",
	"Tifinagh":  "ⵜⴰⵎⴰⵣⵉⵖⵜ",
	"Syllabics": "ᐃᓄᒃᑎᑐᑦ",
	"Ogham":     "ᚁᚂᚃᚄ",
	"Lisu":      "ꓡꓲꓢꓴ",
	"Coptic":    "Ϣϣ",
}

// unprintable are words that would not stand on paper as they are in the record.
var unprintable = map[string]struct {
	text string
	char rune
}{
	"Arabic joins":     {"صامولة العجلة", 'ص'},
	"N'Ko joins":       {"ߒߞߏ", 'ߒ'},
	"Han has no glyph": {"軸受", '軸'},
	"Devanagari":       {"पहिया", 'प'},
	"Thai":             {"ล้อ", 'ล'},
	"a mark by itself": {"q\u0308y", '\u0308'},
	"outside 16 bits":  {"𐍈", '𐍈'},
	"in a longer text": {"Wheel nut 軸", '軸'},
}

// lettered is the demo library with a text in the title, a step, a note, a caution and a
// tool of one procedure.
func lettered(t *testing.T, text string) *library.Memory {
	t.Helper()
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		for e := range demoLibrary(t).All(k) {
			if p, ok := e.Record.(*specdata.Procedure); ok && p.ID == "dray-2-rear-silencer" {
				c := *p
				c.Title = text
				c.Steps = append([]specdata.Step{}, p.Steps...)
				c.Steps[0].Text = "Step " + text
				c.Steps[0].Cautions = []specdata.Caution{{Signal: "warning", Text: text}}
				c.Steps[0].Operations = append([]specdata.Operation{}, p.Steps[0].Operations...)
				c.Steps[0].Operations[0].Note = text
				c.Steps[0].Operations[0].Accept = text
				c.Tools = append([]specdata.Tool{}, p.Tools...)
				c.Tools[len(c.Tools)-1].Title = text
				e = &library.Entry{Record: &c, Hash: e.Hash, Canonical: e.Canonical}
			}
			entries = append(entries, e)
		}
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// What a reader of others finds in the PDF is what is in the HTML, in every script
// that is printed.
func TestPaperSaysWhatTheScreenSays(t *testing.T) {
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed; CI needs poppler-utils")
		}
		t.Skip("SKIPPED: pdftotext is not installed (poppler-utils), so nobody read the PDF")
	}
	for script, text := range scripts {
		t.Run(script, func(t *testing.T) {
			s, err := sheet.New(lettered(t, text), sheet.Request{Procedure: "dray-2-rear-silencer", Printed: "2026-11-25"})
			if err != nil {
				t.Fatal(err)
			}
			var page, paper bytes.Buffer
			if err := s.HTML(&page); err != nil {
				t.Fatal(err)
			}
			if err := s.PDF(&paper, sheet.A4); err != nil {
				t.Fatal(err)
			}
			file := filepath.Join(t.TempDir(), "s.pdf")
			if err := os.WriteFile(file, paper.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
			out, err := exec.Command(program, file, "-").Output()
			if err != nil {
				t.Fatal(err)
			}
			screen, read := words(html.UnescapeString(markup.ReplaceAllString(page.String(), " "))), words(string(out))
			wanted := words(text)
			if n, m := strings.Count(screen, wanted), strings.Count(read, wanted); n < 5 || m < n-1 { // the title of the page is HTML's alone
				t.Errorf("%q stands %d times on the screen and %d times on paper:\n%s", wanted, n, m, read)
			}
		})
	}
}

var markup = regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`)

// words leaves out how a text is broken into lines, and the marks by which a reader of
// PDF says the direction of a text.
func words(s string) string {
	s = strings.NewReplacer("\u00a0", " ", "\u202a", "", "\u202b", "", "\u202c", "", "\u200e", "", "\u200f", "").Replace(s)
	return strings.Join(strings.Fields(s), " ")
}

// A text that cannot be printed as it is stored is refused, with record, text and
// character, and nothing is written.
func TestUnprintable(t *testing.T) {
	for name, c := range unprintable {
		t.Run(name, func(t *testing.T) {
			s, err := sheet.New(lettered(t, c.text), sheet.Request{Procedure: "dray-2-rear-silencer", Printed: "2026-11-25"})
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			var bad *sheet.Unprintable
			if err := s.PDF(&b, sheet.A4); !errors.As(err, &bad) || bad.Character != c.char || bad.Record != "procedures/dray-2-rear-silencer" || !strings.Contains(c.text, bad.Text) {
				t.Errorf("%v", err)
			}
			if b.Len() > 0 {
				t.Error("something was printed")
			}
		})
	}
}
