package ruletest

import (
	"bytes"
	"context"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

// compareFixes applies the fixes of each record that has a fixed/ section, holds
// the outcome against it, and runs the rule again: a fix that leaves its finding
// standing, or makes another, is not one.
func (c *testCase) compareFixes(rule *lint.Rule, lib *library.Memory, o lint.Options, rep *lint.Report) []string {
	var problems []string
	for _, name := range sortedNames(c.fixed) {
		s := c.fixed[name]
		say := func(format string, args ...any) {
			problems = append(problems, c.at(s.line)+fmt.Sprintf(format, args...))
		}
		e := lib.Get(name)
		if e == nil {
			say("fixed record %s is not in the case", name)
			continue
		}
		got, n, err := lint.ApplyFixes(e.Canonical, findingsOf(rep, name))
		if err != nil {
			say("fixes of %s: %v", name, err)
			continue
		}
		if n == 0 {
			say("rule %s offers no fix for %s", rule.Name, name)
			continue
		}
		if !bytes.Equal(got, s.doc.Canonical) {
			say("record %s after its fixes differs from the section:\n\t- %s\n\t+ %s", name, s.doc.Canonical, got)
			continue
		}
		after, err := document.ReadCanonical(got)
		if err != nil {
			say("record %s after its fixes cannot be read: %v", name, err)
			continue
		}
		if err := c.stillClean(o, name, after); err != nil {
			say("%v", err)
		}
	}
	return problems
}

func (c *testCase) stillClean(o lint.Options, name specdata.Name, after *document.Document) error {
	mended := map[specdata.Name]*section{}
	for n, s := range c.records {
		mended[n] = s
	}
	mended[name] = &section{doc: after}
	lib, err := c.library(mended)
	if err != nil {
		return err
	}
	o.Library, o.Only = lib, []specdata.Name{name}
	rep, err := lint.Run(context.Background(), o)
	if err != nil {
		return err
	}
	var left []string
	for _, f := range rep.Findings {
		if len(f.Fix) > 0 {
			left = append(left, f.Message)
		}
	}
	if len(left) > 0 {
		return fmt.Errorf("record %s still has findings with a fix after its fixes: %s", name, strings.Join(left, "; "))
	}
	return nil
}

func findingsOf(rep *lint.Report, name specdata.Name) []specdata.Finding {
	var fs []specdata.Finding
	for _, f := range rep.Findings {
		if f.Record == name {
			fs = append(fs, f)
		}
	}
	return fs
}
