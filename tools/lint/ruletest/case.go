package ruletest

import (
	"bytes"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"
	"time"

	"golang.org/x/tools/txtar"

	"proofload/specdata"
	"proofload/specdata/document"
)

// testCase is one txtar file, read.
type testCase struct {
	file      string
	good      bool
	date      time.Time
	records   map[specdata.Name]*section
	old       map[specdata.Name]*section
	fixed     map[specdata.Name]*section
	absent    map[specdata.Name]bool
	texts     map[string]text // of the latest section of each record, for those like it
	workshop  bool
	offersFix bool
}

// section is one document of a case.
type section struct {
	doc *document.Document
	// path is the document's file name, line the line of the case before its first.
	path  string
	line  int
	text  text
	wants []*want
}

// caseLine returns the line of the case for a line of the section's text: the
// marker's for a line of the record that the section is like.
func (s *section) caseLine(line int) int { return s.line + s.text.line(line) }

// at returns the prefix of a message about a line of the case.
func (c *testCase) at(line int) string { return fmt.Sprintf("%s:%d: ", c.file, line) }

// parseCase reads a case; what it says is wrong is ready to print.
func parseCase(file string, data []byte) (*testCase, []string) {
	ar := txtar.Parse(data)
	c := &testCase{
		file: file, date: Date, good: strings.HasPrefix(file, "good_"),
		records: map[specdata.Name]*section{}, old: map[specdata.Name]*section{},
		fixed: map[specdata.Name]*section{}, absent: map[specdata.Name]bool{}, texts: map[string]text{},
	}
	var problems []string
	say := func(line int, format string, args ...any) {
		problems = append(problems, c.at(line)+fmt.Sprintf(format, args...))
	}
	if !c.good && !strings.HasPrefix(file, "bad_") {
		say(1, "name of the case starts neither with bad_ nor with good_; rename it")
	}
	lines := strings.Split(string(ar.Comment), "\n")
	if len(strings.Fields(lines[0])) < 3 {
		say(1, "first line is not a sentence that says what the case shows")
	}
	for i, l := range lines {
		if value, ok := strings.CutPrefix(l, "date:"); ok {
			t, err := specdata.Date(strings.TrimSpace(value)).Time()
			if err != nil {
				say(i+1, "%v", err)
			}
			c.date = t
		}
		if value, ok := strings.CutPrefix(l, "world:"); ok {
			if value = strings.TrimSpace(value); value != "workshop" {
				say(i+1, "world %q does not exist; allowed: workshop", value)
			}
			c.workshop = true
		}
	}
	line := bytes.Count(ar.Comment, []byte("\n"))
	for _, f := range ar.Files {
		line++ // the marker
		c.section(f, line, say)
		line += bytes.Count(f.Data, []byte("\n"))
	}
	if len(problems) == 0 {
		c.checkWants(say)
	}
	return c, problems
}

// section reads one section whose marker stands on a line of the case.
func (c *testCase) section(f txtar.File, line int, say func(int, string, ...any)) {
	into := c.records
	name, base, _ := strings.Cut(f.Name, " like ")
	if rest, ok := strings.CutPrefix(name, "absent/"); ok {
		n, err := specdata.ParseName(strings.TrimSuffix(rest, ".yaml"))
		if err != nil {
			say(line, "%v", err)
			return
		}
		c.absent[n] = true
		return
	}
	if rest, ok := strings.CutPrefix(name, "old/"); ok {
		into, name = c.old, rest
	} else if rest, ok := strings.CutPrefix(name, "fixed/"); ok {
		into, name = c.fixed, rest
	}
	if path.Ext(name) != ".yaml" {
		say(line, "section %q is none of <collection>/<id>.yaml, old/…, fixed/…, each with or without \"like <id>\", and absent/<collection>/<id>", f.Name)
		return
	}
	n, err := specdata.ParseName(strings.TrimSuffix(name, ".yaml"))
	if err != nil {
		say(line, "%v", err)
		return
	}
	whole, err := c.compose(n, base, f.Data)
	if err != nil {
		say(line, "section %s: %v", f.Name, err)
		return
	}
	s := &section{path: name, line: line, text: whole}
	c.texts[string(n)] = whole
	doc, findings := document.Read(name, whole.bytes())
	if doc == nil {
		for _, fd := range findings {
			say(s.caseLine(fd.Line), "section %s cannot be read: %s [%s]", f.Name, fd.Message, fd.Rule)
		}
		return
	}
	if into[n] != nil {
		say(line, "section %s stands twice", f.Name)
	}
	s.doc = doc
	into[n] = s
	for _, cm := range doc.Comments() {
		ws, err := parseWants(cm.Text)
		if err != nil {
			say(s.caseLine(cm.Line), "%v", err)
		}
		for _, w := range ws {
			w.line = cm.Line
			s.wants = append(s.wants, w)
		}
	}
}

// checkWants holds the expectations against the kind of the case.
func (c *testCase) checkWants(say func(int, string, ...any)) {
	findings := 0
	for _, n := range sortedNames(c.records) {
		for _, w := range c.records[n].wants {
			if !w.skipped {
				findings++
				if c.good {
					say(c.records[n].caseLine(w.line), "a good case expects no finding; name it bad_ or take %s away", w)
				}
			}
		}
	}
	if findings == 0 && !c.good {
		say(1, "a bad case expects at least one finding; write # want \"regexp\" on the line it concerns")
	}
	for _, m := range []map[specdata.Name]*section{c.old, c.fixed} {
		for _, n := range sortedNames(m) {
			for _, w := range m[n].wants {
				say(m[n].caseLine(w.line), "%s stands in a section that is not judged", w)
			}
		}
	}
}

func sortedNames(m map[specdata.Name]*section) []specdata.Name {
	return slices.Sorted(maps.Keys(m))
}
