package render

import (
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

// sarifSchema is where the standard keeps the schema of its form.
const sarifSchema = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"

// identityKey names the algorithm of specdata.Finding.Identify, with its version.
const identityKey = "proofloadIdentity/v1"

// SARIF writes the run as a log of the Static Analysis Results Interchange Format,
// version 2.1.0 (OASIS): one run; every rule with its document; for every finding
// its fingerprint, places, fix and suppression. Findings that a baseline holds are
// there as suppressed and unchanged. A clean run has an empty list of results.
func SARIF(w io.Writer, r *Run) error {
	s := sarifBuilder{run: r, index: map[string]int{}}
	driver := sarifDriver{Name: Tool, Version: r.Version, Rules: []sarifRule{}}
	for i, rule := range r.described() {
		s.index[rule.Name] = i
		driver.Rules = append(driver.Rules, describe(rule))
	}
	results := []sarifResult{}
	for _, f := range r.Report.Findings {
		res := s.result(f)
		if r.Known != nil {
			res.BaselineState = "new"
		}
		results = append(results, res)
	}
	for _, f := range r.Known {
		res := s.result(f)
		res.BaselineState = "unchanged"
		res.Suppressions = append(res.Suppressions, sarifSuppression{Kind: "external", Status: "accepted", Justification: "held by the baseline"})
		results = append(results, res)
	}
	c := r.Counts()
	return encode(w, sarifLog{
		Schema: sarifSchema, Version: "2.1.0",
		Runs: []sarifRun{{
			Tool:        sarifTool{driver},
			Invocations: []sarifInvocation{{ExecutionSuccessful: true}},
			ColumnKind:  "unicodeCodePoints",
			Results:     results,
			Properties:  map[string]any{"edition": r.Edition(), "records": c.Records, "notChecked": c.NotChecked},
		}},
	})
}

func describe(r *lint.Rule) sarifRule {
	return sarifRule{
		ID:                   r.Name,
		ShortDescription:     sarifText{Text: r.Title},
		FullDescription:      sarifText{Text: section(r.Doc, "What")},
		Help:                 sarifText{Text: plain(r.Doc), Markdown: r.Doc},
		DefaultConfiguration: sarifConfiguration{Level: level(r.Severity)},
		Properties:           map[string]any{"edition": r.Edition, "source": r.Source()},
	}
}

// section returns the text below a heading of a rule's document, on one line.
func section(doc, heading string) string {
	_, rest, _ := strings.Cut(doc, "## "+heading+"\n")
	text, _, _ := strings.Cut(rest, "\n## ")
	return strings.Join(strings.Fields(text), " ")
}

// plain takes the marks of headings off.
func plain(markdown string) string {
	lines := strings.Split(strings.TrimSpace(markdown), "\n")
	for i, l := range lines {
		lines[i] = strings.TrimLeft(l, "# ")
		if !strings.HasPrefix(l, "#") {
			lines[i] = l
		}
	}
	return strings.Join(lines, "\n")
}

func level(s specdata.Severity) string {
	switch s {
	case specdata.Error:
		return "error"
	case specdata.Warning:
		return "warning"
	}
	return "note"
}

type sarifBuilder struct {
	run   *Run
	index map[string]int // rule's name to its number in the driver
}

func (s *sarifBuilder) result(f specdata.Finding) sarifResult {
	r := sarifResult{
		RuleID: f.Rule, RuleIndex: s.index[f.Rule], Level: level(f.Severity), Message: sarifText{Text: messageText(f)},
		Locations:           []sarifLocation{location(f.Position, f.Record, f.Pointer)},
		PartialFingerprints: map[string]string{identityKey: f.Identity},
		Properties:          map[string]any{"severity": f.Severity},
	}
	if f.Value != "" {
		r.Properties["value"] = f.Value
	}
	if len(f.Arithmetic) > 0 {
		r.Properties["arithmetic"] = f.Arithmetic
	}
	for i, rel := range f.Related {
		l := location(rel.Position, rel.Record, rel.Pointer)
		l.ID, l.Message = i+1, &sarifText{Text: rel.Message}
		r.RelatedLocations = append(r.RelatedLocations, l)
	}
	if f.Waived != "" {
		r.Suppressions = []sarifSuppression{{Kind: "inSource", Status: "accepted", Justification: f.Waived}}
	}
	r.Fixes = s.fixes(f)
	return r
}

// messageText is the message with its arithmetic. A reader of SARIF that shows
// only messages would otherwise hide the proof. What SARIF would read as an embedded
// link, "[text](target)" (3.11.6), is escaped.
func messageText(f specdata.Finding) string {
	text := f.Message
	if len(f.Arithmetic) > 0 {
		text += "\n" + strings.Join(f.Arithmetic, "\n")
	}
	if !strings.Contains(text, "](") {
		return text
	}
	return strings.NewReplacer(`\`, `\\`, "[", `\[`, "]", `\]`).Replace(text)
}

func location(p specdata.Position, record specdata.Name, pointer string) sarifLocation {
	var l sarifLocation
	if p.File != "" {
		l.Physical = &sarifPhysical{Artifact: artifact(p.File)}
		if p.Line > 0 {
			l.Physical.Region = &sarifRegion{StartLine: p.Line, StartColumn: p.Column}
		}
	}
	if record != "" {
		l.Logical = []sarifLogical{{FullyQualifiedName: string(record) + pointer, Kind: "member"}}
		if pointer == "" {
			l.Logical[0].Kind = "object"
		}
	}
	return l
}

// artifact returns a file as a URI reference (RFC 3986): relative where the path is.
func artifact(file string) sarifArtifact {
	u := url.URL{Path: filepath.ToSlash(file)}
	if strings.HasPrefix(u.Path, "/") {
		u.Scheme = "file"
	}
	return sarifArtifact{URI: u.String()}
}

// fixes returns the finding's fix as an edit of the file's text, where there is one.
func (s *sarifBuilder) fixes(f specdata.Finding) []sarifFix {
	if len(f.Fix) == 0 || f.File == "" || s.run.Text == nil {
		return nil
	}
	edits := lint.TextEdits(f.File, s.run.Text(f.File), f.Fix)
	if edits == nil {
		return nil
	}
	c := sarifChange{Artifact: artifact(f.File)}
	for _, e := range edits {
		c.Replacements = append(c.Replacements, sarifReplacement{
			Deleted:  sarifRegion{StartLine: e.Line, StartColumn: e.Column, EndLine: e.EndLine, EndColumn: e.EndColumn},
			Inserted: sarifText{Text: e.Text},
		})
	}
	words := make([]string, len(f.Fix))
	for i, ch := range f.Fix {
		words[i] = change(ch)
	}
	return []sarifFix{{Description: sarifText{Text: fmt.Sprintf("%s: %s", f.Rule, strings.Join(words, "; "))}, Changes: []sarifChange{c}}}
}
