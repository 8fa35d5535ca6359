// Package ruletest runs a rule over the cases of a folder. A case starts from a small valid world (folder world) and
// holds only what it changes.
//
// A case is a txtar file NAME.txtar. NAME starts with
//
//	bad_        the rule reports
//	good_       the rule is silent
//	good_like_  the rule is silent although it looks like a bad case
//
// Its first line is a sentence that says what the case shows; a further line
// "date: 2026-12-24" sets the day of the run, which is otherwise [Date], and a
// line "world: workshop" adds the folder workshop to the world. Sections:
//
//	fasteners/ID.yaml        a record, new or in place of the world's (any collection)
//	absent/fasteners/ID      the world's record is left out
//	old/fasteners/ID.yaml    the previous revision of a record, for change rules
//	fixed/fasteners/ID.yaml  the record after its fixes have been applied
//
// A section says only what matters by being like another record of its kind:
//
//	-- fasteners/tansy-2-a.yaml like bolt --
//	thread: {designation: M10x1.5, hand: right, into: steel}
//	strength: ~
//	tightening:
//	  stages: [{torque: 310 N.m}] # want "yield"
//
// What it is like is the last section for that id above it, whatever its prefix; else
// the record of the world or the workshop; else a pattern (folder pattern), which is
// in no library. A key at the left margin takes the place of that record's whole key.
// Where both are indented blocks of keys, as tightening is here, their keys take each
// other's place, one level deep. "~" takes a key away. The id is the section's own.
// A finding must be on a line that the section itself has: write the key again to
// have a line for it.
//
// The world as a whole counts as the previous state for change rules, so a
// section that differs from the world is a change of it even without old/.
//
// Expectations are trailing comments on the line they concern:
//
//	stages: [{torque: 310 N.m}] # want "yield" "digits swapped"
//	thread: {designation: M12}  # not-checked "no strength class"
//
// Each string is a regular expression in Go quotes. It is matched against the
// message, and against the whole finding as text: "severity: message" and below
// it the arithmetic and related places, a line each.
//
// Findings anywhere must be expected; not-checked reports must be expected in the
// records the case holds, so that a good case is good because the rule judged it.
package ruletest

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

// Date is the day cases run for unless they say another.
var Date = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// Run runs every case of a folder as a subtest.
func Run(t *testing.T, rule *lint.Rule, folder string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Fatalf("rule %s has no cases; write bad_*.txtar and good_*.txtar in %s", rule.Name, folder)
	}
	fixes, fixed := false, false
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".txtar")
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			c, problems := parseCase(filepath.Base(file), data)
			if len(problems) == 0 {
				problems = c.run(rule)
			}
			for _, p := range problems {
				t.Error(p)
			}
			if c != nil {
				fixes = fixes || c.offersFix
				fixed = fixed || len(c.fixed) > 0
			}
		})
	}
	if fixes && !fixed {
		t.Errorf("rule %s offers a fix, but no case shows the record after it; add a section fixed/<collection>/<id>.yaml to a bad case", rule.Name)
	}
}

// run runs the rule over the case and says where it disagrees with the expectations.
func (c *testCase) run(rule *lint.Rule) []string {
	now, err := c.library(c.records)
	if err != nil {
		return []string{c.at(1) + err.Error()}
	}
	o := lint.Options{Rules: []*lint.Rule{rule}, Library: now, Date: c.date}
	if rule.Change != nil {
		old, err := c.library(c.old)
		if err != nil {
			return []string{c.at(1) + err.Error()}
		}
		o.Old = old
	}
	rep, err := lint.Run(context.Background(), o)
	if err != nil {
		return []string{c.at(1) + err.Error()}
	}
	problems := c.compare(now, rep)
	return append(problems, c.compareFixes(rule, now, o, rep)...)
}

// library lays sections over the world.
func (c *testCase) library(sections map[specdata.Name]*section) (*library.Memory, error) {
	base, err := world()
	if err != nil {
		return nil, err
	}
	if c.workshop {
		more, err := workshop()
		if err != nil {
			return nil, err
		}
		base = slices.Concat(base, more)
	}
	var entries []*library.Entry
	for _, e := range base {
		if n := e.Name(); !c.absent[n] && sections[n] == nil {
			entries = append(entries, e)
		}
	}
	for _, n := range sortedNames(sections) {
		entries = append(entries, library.NewEntry(sections[n].doc))
	}
	return library.NewMemory(entries...)
}
