package ruletest

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

// want is one expectation.
type want struct {
	line    int
	skipped bool // a not-checked report rather than a finding
	re      *regexp.Regexp
	met     bool
}

func (w *want) String() string {
	word := "want"
	if w.skipped {
		word = "not-checked"
	}
	return fmt.Sprintf("# %s %q", word, w.re)
}

// parseWants reads the expectations of one comment; a comment that does not
// start with one of the two words holds none.
func parseWants(comment string) ([]*want, error) {
	rest := strings.TrimSpace(strings.TrimLeft(comment, "#"))
	var ws []*want
	skipped, open := false, false
	for rest != "" {
		if after, ok := cutWord(rest, "want"); ok {
			rest, skipped, open = after, false, true
			continue
		}
		if after, ok := cutWord(rest, "not-checked"); ok {
			rest, skipped, open = after, true, true
			continue
		}
		if !open {
			return nil, nil
		}
		quoted, err := strconv.QuotedPrefix(rest)
		if err != nil {
			return nil, fmt.Errorf("expectation %q is not a regular expression in Go quotes", rest)
		}
		text, err := strconv.Unquote(quoted)
		if err != nil {
			return nil, fmt.Errorf("expectation %s cannot be unquoted: %w", quoted, err)
		}
		re, err := regexp.Compile(text)
		if err != nil {
			return nil, fmt.Errorf("expectation %s: %w", quoted, err)
		}
		ws = append(ws, &want{skipped: skipped, re: re})
		rest = strings.TrimSpace(rest[len(quoted):])
	}
	if open && len(ws) == 0 {
		return nil, fmt.Errorf("expectation %q has no regular expression", comment)
	}
	return ws, nil
}

// cutWord takes a word off the front where a quote follows or nothing does.
func cutWord(s, word string) (string, bool) {
	rest, ok := strings.CutPrefix(s, word)
	if !ok {
		return s, false
	}
	rest = strings.TrimSpace(rest)
	return rest, rest == "" || rest[0] == '"' || rest[0] == '`'
}

// compare holds a report against the expectations of the case.
func (c *testCase) compare(lib library.Library, rep *lint.Report) []string {
	var problems []string
	for _, f := range rep.Findings {
		c.offersFix = c.offersFix || len(f.Fix) > 0
		s := c.records[f.Record]
		if s == nil || !s.take(f.Line, false, f.Message, findingText(f)) {
			problems = append(problems, c.place(s, f.Record, f.Line)+fmt.Sprintf("finding not expected, at %s:\n\t+ %s", pointer(f.Pointer), indent(findingText(f))))
		}
	}
	for _, n := range rep.NotChecked {
		s := c.records[n.Record]
		if s == nil {
			continue // the world has no expectations
		}
		line := lib.Get(n.Record).Position(n.Pointer).Line
		if !s.take(line, true, n.Why, n.Why) {
			problems = append(problems, c.place(s, n.Record, line)+fmt.Sprintf("not-checked report not expected, at %s:\n\t+ %s", pointer(n.Pointer), n.Why))
		}
	}
	for _, name := range sortedNames(c.records) {
		s := c.records[name]
		for _, w := range s.wants {
			if !w.met {
				problems = append(problems, c.place(s, name, w.line)+fmt.Sprintf("nothing reported matches:\n\t- %s", w))
			}
		}
	}
	return problems
}

// take uses up the first open expectation of a line that matches one of the texts.
func (s *section) take(line int, skipped bool, texts ...string) bool {
	for _, w := range s.wants {
		if w.met || w.skipped != skipped || w.line != line {
			continue
		}
		for _, t := range texts {
			if w.re.MatchString(t) {
				w.met = true
				return true
			}
		}
	}
	return false
}

// place names a line of a record: the line of the case where the case holds the
// record, else the world's file.
func (c *testCase) place(s *section, name specdata.Name, line int) string {
	if s == nil {
		return c.at(1) + fmt.Sprintf("world/%s.yaml:%d: ", name, line)
	}
	return c.at(s.caseLine(line)) + fmt.Sprintf("%s:%d: ", s.path, line)
}

func pointer(p string) string {
	if p == "" {
		return "the whole record"
	}
	return p
}

// findingText is a finding as expectations see it.
func findingText(f specdata.Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", f.Severity, f.Message)
	for _, l := range f.Arithmetic {
		b.WriteString("\n" + l)
	}
	for _, r := range f.Related {
		fmt.Fprintf(&b, "\n%s%s: %s", r.Record, r.Pointer, r.Message)
	}
	return b.String()
}

func findingsText(fs []specdata.Finding) string {
	var parts []string
	for _, f := range fs {
		parts = append(parts, fmt.Sprintf("%d:%d: %s [%s]", f.Line, f.Column, f.Message, f.Rule))
	}
	return strings.Join(parts, "; ")
}

func indent(s string) string { return strings.ReplaceAll(s, "\n", "\n\t  ") }
