package document_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"
	"pgregory.net/rapid"

	"proofload/schema/schematest"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/document"
)

var update = flag.Bool("update", false, "write the golden files anew")

// Each testdata/*.txtar is a file somebody wrote and what is said about it. The
// first line says what the case shows.
func TestReadGolden(t *testing.T) {
	cases, err := filepath.Glob("testdata/*.txtar")
	if err != nil || len(cases) < 10 {
		t.Fatalf("%d cases, %v", len(cases), err)
	}
	for _, c := range cases {
		t.Run(strings.TrimSuffix(filepath.Base(c), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(c)
			if err != nil || len(a.Files) != 2 || a.Files[1].Name != "findings" {
				t.Fatalf("case holds %d files, want a document and findings (%v)", len(a.Files), err)
			}
			var out bytes.Buffer
			_, findings := document.Read(a.Files[0].Name, a.Files[0].Data)
			for _, f := range findings {
				fmt.Fprintf(&out, "%d:%d %s %s %q\n\t%s\n", f.Line, f.Column, f.Rule, f.Pointer, f.Value, f.Message)
				if f.Severity != specdata.Error || f.File != a.Files[0].Name {
					t.Errorf("finding %+v", f)
				}
			}
			if *update {
				a.Files[1].Data = out.Bytes()
				if err := os.WriteFile(c, txtar.Format(a), 0o666); err != nil {
					t.Fatal(err)
				}
			}
			if !bytes.Equal(out.Bytes(), a.Files[1].Data) {
				t.Errorf("findings have changed; if they are better, run go test ./specdata/document -run Golden -update\n%s", out.Bytes())
			}
		})
	}
}

const located = `# a comment
kind: source # the kind
id: hub
title: "Ä \"b\"" # behind a quote
"issuer": 'It''s # none'
note: |
  # no comment
  text

# between
supersedes:
  - a-b # entry
  -   c-d
concerns: [e-f, "g-h"]   # list
waivers:
- rule: r-s
  at: /é
  value: ü
  reason: because it is so
  until: 2027-01-01
  by: m
date: 2020-01-01
type: maker
licence: own
`

// Places are counted by hand in the text above: columns in characters, from 1.
func TestLocate(t *testing.T) {
	d, findings := document.Read("sources/hub.yaml", []byte(located))
	if d == nil {
		t.Fatal(findings)
	}
	for pointer, want := range map[string][2]int{
		"":                   {2, 1},
		"/kind":              {2, 7},
		"/id":                {3, 5},
		"/title":             {4, 8},
		"/issuer":            {5, 11},
		"/note":              {6, 7},
		"/supersedes":        {11, 1}, // a list stands at its key
		"/supersedes/0":      {12, 5},
		"/supersedes/1":      {13, 7},
		"/supersedes/2":      {11, 1}, // absent: the nearest thing that is there
		"/supersedes/01":     {11, 1}, // no index (RFC 6901, section 4)
		"/supersedes/-":      {11, 1},
		"/concerns/0":        {14, 12},
		"/concerns/1":        {14, 17},
		"/waivers":           {15, 1},
		"/waivers/0":         {16, 3},
		"/waivers/0/at":      {17, 7},
		"/waivers/0/value":   {18, 10},
		"/waivers/0/no":      {16, 3},
		"/no":                {2, 1},
		"/no/such/thing":     {2, 1},
		"/title/not/deeper":  {4, 8},
		"/a~1b/c~0d/nothing": {2, 1},
	} {
		got := d.Locate(pointer)
		if got.File != "sources/hub.yaml" || got.Line != want[0] || got.Column != want[1] {
			t.Errorf("%q is at %v, want line %d column %d", pointer, got, want[0], want[1])
		}
	}
	want := "1:a comment; 2:the kind; 4:behind a quote; 10:between; 12:entry; 14:list;"
	var got []string
	for _, c := range d.Comments() {
		got = append(got, fmt.Sprintf("%d:%s;", c.Line, c.Text))
	}
	if got := strings.Join(got, " "); got != want {
		t.Errorf("comments are %q, want %q", got, want)
	}
}

func TestLocateJSON(t *testing.T) {
	text := "{\"kind\": \"source\",\n \"id\":\"hub\", \"title\": \"Ä b\", \"issuer\" : \"é\",\"date\":\"2020-01-01\",\r\n\t\"type\":\"maker\",\"licence\":\"own\",\"concerns\":[\n\"a\",  \"b\"]}"
	d, findings := document.Read("sources/hub.json", []byte(text))
	if d == nil {
		t.Fatal(findings)
	}
	for pointer, want := range map[string][2]int{
		"": {1, 1}, "/kind": {1, 10}, "/id": {2, 7}, "/title": {2, 23}, "/issuer": {2, 41}, "/date": {2, 52}, "/type": {3, 9}, "/concerns": {3, 33}, "/concerns/0": {4, 1}, "/concerns/1": {4, 7},
	} {
		if got := d.Locate(pointer); got.Line != want[0] || got.Column != want[1] {
			t.Errorf("%q is at %v, want line %d column %d", pointer, got, want[0], want[1])
		}
	}
	if d.Comments() != nil {
		t.Error("JSON has no comments")
	}
}

// A finding says whose it is where that can be known at all, and can be told from
// the same finding of another record.
func TestFindingsNameTheRecord(t *testing.T) {
	for _, tt := range []struct{ file, text, want string }{
		{"x.json", with(`"x":1`), "sources/a"},
		{"sources/b.json", with(`"x":1`), "sources/a"}, // the content counts
		{"lib/sources/b.yaml", "[", "sources/b"},
		{"sources/b.yaml", "kind: source\nid: B\n", "sources/b"},
		{"b.yaml", "[", ""},
		{"nuts/b.yaml", "[", ""},
		{"sources/B C.yaml", "[", ""},
		{"-", "kind: source\n", ""},
	} {
		_, findings := document.Read(tt.file, []byte(tt.text))
		if len(findings) == 0 {
			t.Fatalf("%s was taken", tt.text)
		}
		for _, f := range findings {
			again := f
			if again.Identify(f.Pointer); string(f.Record) != tt.want || f.Identity != again.Identity {
				t.Errorf("%s %q: record %q, want %q; identity %q", tt.file, tt.text, f.Record, tt.want, f.Identity)
			}
		}
	}
}

// Files of another system have other line ends; nothing else changes.
func TestLineEnds(t *testing.T) {
	lf, findings := document.Read("sources/hub.yaml", []byte(located))
	if lf == nil {
		t.Fatal(findings)
	}
	crlf, findings := document.Read("sources/hub.yaml", []byte(strings.ReplaceAll(located, "\n", "\r\n")))
	if crlf == nil {
		t.Fatal(findings)
	}
	if crlf.Hash != lf.Hash || !reflect.DeepEqual(crlf.Comments(), lf.Comments()) || crlf.Locate("/waivers/0/value") != lf.Locate("/waivers/0/value") {
		t.Errorf("%s\n%s\n%v\n%v", crlf.Canonical, lf.Canonical, crlf.Comments(), lf.Comments())
	}
}

func TestNilDocumentHasNoPlaces(t *testing.T) {
	var d *document.Document
	if d.Locate("/id") != (specdata.Position{}) {
		t.Error("a nil document has a place")
	}
}

// The ending of the name decides, and without one the first character.
func TestFormByName(t *testing.T) {
	yamlText := "kind: source\nid: a\ntitle: A\nissuer: B\ndate: 2020-01-01\ntype: maker\nlicence: own\n"
	for _, tt := range []struct{ file, text string }{
		{"a.json", soundSource}, {"a.JSON", soundSource}, {"", soundSource}, {"-", " \n" + soundSource}, {"a.txt", soundSource},
		{"a.yaml", yamlText}, {"a.yml", yamlText}, {"", yamlText}, {"-", yamlText}, {"a.yaml", soundSource}, // JSON is YAML
	} {
		d, findings := document.Read(tt.file, []byte(tt.text))
		if d == nil {
			t.Errorf("%q: %v", tt.file, findings)
			continue
		}
		if d.Record.Name() != "sources/a" || d.File != tt.file {
			t.Errorf("%q gives %s of file %q", tt.file, d.Record.Name(), d.File)
		}
	}
	if d, _ := document.Read("a.json", []byte(yamlText)); d != nil {
		t.Error("YAML was read as JSON")
	}
}

// One record, one document: writing the record gives the bytes it was read from, in
// every form the document can take.
func checkOneForm(t interface {
	Helper()
	Fatalf(string, ...any)
}, d *document.Document) {
	t.Helper()
	again, err := document.Canonical(d.Record)
	if err != nil || !bytes.Equal(again, d.Canonical) {
		t.Fatalf("record gives\n%s\nwas read from\n%s (%v)", again, d.Canonical, err)
	}
	text, err := document.Format(d.Canonical)
	if err != nil {
		t.Fatalf("Format: %v\n%s", err, d.Canonical)
	}
	back, findings := document.Read("x.yaml", text)
	if back == nil || !bytes.Equal(back.Canonical, d.Canonical) || back.Hash != d.Hash {
		t.Fatalf("%v\nFormat gives\n%s\nof\n%s", findings, text, d.Canonical)
	}
	if twice, err := document.Format(back.Canonical); err != nil || !bytes.Equal(twice, text) {
		t.Fatalf("Format is not settled: %v\n%s\n%s", err, text, twice)
	}
	stored, err := document.ReadCanonical(d.Canonical)
	if err != nil {
		t.Fatalf("ReadCanonical: %v\n%s", err, d.Canonical)
	}
	plain := specdata.New(d.Record.Header().Kind)
	if err := json.Unmarshal(d.Canonical, plain); err != nil {
		t.Fatalf("encoding/json: %v", err)
	}
	if !reflect.DeepEqual(stored.Record, d.Record) || !reflect.DeepEqual(stored.Record, plain) || stored.Hash != d.Hash {
		t.Fatalf("read as YAML\n%#v\nfrom the store\n%#v\nby encoding/json\n%#v", d.Record, stored.Record, plain)
	}
	if stored.Locate("/id") != (specdata.Position{}) || stored.Comments() != nil {
		t.Fatalf("a document from the store has places or comments")
	}
}

func TestOneFormOfTheDemo(t *testing.T) {
	files, err := fs.Glob(demo.Files, "*/*.yaml")
	if err != nil || len(files) < 100 {
		t.Fatal(len(files), err)
	}
	for _, f := range files {
		data, err := fs.ReadFile(demo.Files, f)
		if err != nil {
			t.Fatal(err)
		}
		d, findings := document.Read(f, data)
		if d == nil {
			t.Fatal(findings)
		}
		checkOneForm(t, d)
	}
}

func TestOneFormOfRandomRecords(t *testing.T) {
	for _, k := range specdata.Kinds {
		t.Run(string(k), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				text, err := json.Marshal(schematest.Document(t, k))
				if err != nil {
					t.Fatal(err)
				}
				d, findings := document.Read("x.json", text)
				if d == nil {
					t.Fatalf("%v\n%s", findings, text)
				}
				checkOneForm(t, d)
			})
		})
	}
}

// The store's reader takes what the strict reader takes in canonical form, and nothing else.
func TestReadCanonicalIsAsStrict(t *testing.T) {
	for _, k := range specdata.Kinds {
		t.Run(string(k), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				text, err := json.Marshal(schematest.Mutate(t, schematest.Document(t, k)))
				if err != nil {
					t.Fatal(err)
				}
				if rapid.Bool().Draw(t, "canonical") {
					if c, err := document.Canonicalize(text); err == nil {
						text = c
					}
				}
				if rapid.Bool().Draw(t, "damage") {
					i := rapid.IntRange(0, len(text)-1).Draw(t, "at")
					text = append(append(bytes.Clone(text[:i]), rapid.SampledFrom([]string{"", " ", "\"", "1", "{", "}", ",", "\\", "\x00", "é"}).Draw(t, "put")...), text[i+1:]...)
				}
				d, findings := document.Read("x.json", text)
				want := d != nil && bytes.Equal(d.Canonical, text)
				if _, err := document.ReadCanonical(text); (err == nil) != want {
					t.Fatalf("ReadCanonical: %v; Read: %v\n%s", err, findings, text)
				}
			})
		})
	}
}

func TestReadCanonicalSaysWhy(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{soundSource, "not in canonical form"},
		{`{"kind":"source"}`, `refused by schema at "/date"`},
		{`{`, "refused by syntax"},
		{``, "empty"},
		{strings.Replace(soundSource, "{", "{ ", 1), "not in canonical form"},
	} {
		if _, err := document.ReadCanonical([]byte(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error is %v, want …%s…", tt.text, err, tt.want)
		}
	}
	for _, tt := range slices.Concat(hostile, crowded) {
		if _, err := document.ReadCanonical([]byte(tt.text)); err == nil {
			t.Errorf("%s was taken", tt.name)
		}
		if _, err := document.Format([]byte(tt.text)); err == nil {
			t.Errorf("%s was formatted", tt.name)
		}
	}
}

func TestReadMarker(t *testing.T) {
	m, findings := document.ReadMarker("proofload.yaml", []byte("library: demo\ntitle: Demo # shown\nnotice: Invented.\n"))
	if len(findings) > 0 || !reflect.DeepEqual(m, document.Marker{Library: "demo", Title: "Demo", Notice: "Invented."}) {
		t.Errorf("%+v %v", m, findings)
	}
	for text, want := range map[string]string{
		"library: demo\n":                      "1:1 title is missing",
		"library: Demo\ntitle: A\n":            `1:10 library is "Demo"`,
		"library: demo\ntitle: A\nnotise: B\n": `3:1 key "notise" is unknown here; did you mean "notice"?`,
		"library: demo\ntitle: A\ntitle: B\n":  "3:1 key \"title\" stands twice",
		"[]\n":                                 "1:1 document is a list",
		"":                                     "1:1 document is empty",
		"library: &a demo\ntitle: A\n":         "1:10 anchor",
		"library: demo\ntitle: [\n":            "2:8 [ is opened here and not closed",
		"library: demo\ntitle: 12\nnotice: true\n": `2:8 title is the number 12`,
	} {
		_, findings := document.ReadMarker("proofload.yaml", []byte(text))
		if len(findings) == 0 {
			t.Errorf("%q was taken", text)
			continue
		}
		if got := fmt.Sprintf("%d:%d %s", findings[0].Line, findings[0].Column, findings[0].Message); !strings.Contains(got, want) {
			t.Errorf("%q: %s; want …%s…", text, got, want)
		}
	}
}

// The year of a document's issue without quotes is a number to YAML and JSON, and has one
// reading: every reader takes it as it is written. Other numbers stay numbers.
func TestYearOfIssue(t *testing.T) {
	const rest = "kind: source\nid: odd\ntitle: Odd sheet\nissuer: Tansy Works\ntype: maker\nlicence: free\n"
	for _, c := range []struct {
		name, file, text string
		date             specdata.IssueDate
	}{
		{"a year", "odd.yaml", rest + "date: 2018\n", "2018"},
		{"a year in quotes", "odd.yaml", rest + "date: \"2018\"\n", "2018"},
		{"a year and a month", "odd.yaml", rest + "date: 2018-03\n", "2018-03"},
		{"a day", "odd.yaml", rest + "date: 2018-03-07\n", "2018-03-07"},
		{"a year beside a comment", "odd.yaml", rest + "date: 2018 # as printed\n", "2018"},
		{"a year in braces", "odd.yaml", `{kind: source, id: odd, title: Odd sheet, issuer: Tansy Works, type: maker, licence: free, date: 2018}`, "2018"},
		{"a year in JSON", "odd.json", `{"kind":"source","id":"odd","title":"Odd sheet","issuer":"Tansy Works","type":"maker","licence":"free","date":2018}`, "2018"},
		{"two digits", "odd.yaml", rest + "date: 18\n", ""},
		{"five digits", "odd.yaml", rest + "date: 20180\n", ""},
		{"a sign", "odd.yaml", rest + "date: -201\n", ""},
		{"a point", "odd.yaml", rest + "date: 2018.5\n", ""},
		{"octal to some", "odd.yaml", rest + "date: 0201\n", ""},
		{"a day without hyphens", "odd.yaml", rest + "date: 20180307\n", ""},
	} {
		d, findings := document.Read(c.file, []byte(c.text))
		switch {
		case c.date == "":
			if d != nil || len(findings) == 0 {
				t.Errorf("%s is read as %s", c.name, d.Canonical)
			}
		case d == nil:
			t.Errorf("%s is refused: %v", c.name, findings)
		default:
			if got := d.Record.(*specdata.Source).Date; got != c.date || !bytes.Contains(d.Canonical, []byte(`"date":"`+string(c.date)+`"`)) {
				t.Errorf("%s is %s, and %s in canonical form", c.name, got, d.Canonical)
			}
		}
	}
	if _, findings := document.Read("m.yaml", []byte("kind: vehicle\nid: m\ntitle: M\nmake: Tansy\nmodel: 2018\nbuilt: {from: 2014-01-06}\nsource: {document: d, at: sheet 2, read_on: 2026-11-20, entered_by: Maud Ibbot}\n")); len(findings) == 0 {
		t.Error("a model that is a number is read")
	}
	if _, err := document.ReadCanonical([]byte(`{"date":2018,"id":"odd","issuer":"Tansy Works","kind":"source","licence":"free","title":"Odd sheet","type":"maker"}`)); err == nil {
		t.Error("a number is canonical")
	}
}
