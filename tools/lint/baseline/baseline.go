// Package baseline keeps the findings that a library had when it began to be
// checked, so that only new ones stop a build. A baseline only shrinks: an entry
// whose finding is gone is stale, and stale entries fail.
//
// The file has a line a finding: identity, rule, and record#pointer, in order of
// place. The identity alone counts; the rest is for people who review it. Lines of
// two branches can be joined in any order.
package baseline

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"

	"proofload/specdata"
)

// Entry is one finding that is known.
type Entry struct {
	Identity string
	Rule     string
	Record   specdata.Name
	Pointer  string
	// Line is where the entry is in the file, 0 for one not read from a file.
	Line int
}

// Baseline is a set of entries, in order of record, pointer, rule and identity.
type Baseline struct {
	Entries []Entry
}

const head = "# Findings that were known when this was written; one a line, and lines may only go.\n" +
	"# Written by: proofload baseline update | prune\n"

var lineForm = regexp.MustCompile(`^([0-9a-f]{32}) ([a-z0-9-]+) ([a-z]+/[a-z0-9-]+)#(/.*)?$`)

// Read reads a baseline. The error names the line that is none, with the form wanted.
func Read(r io.Reader, file string) (*Baseline, error) {
	b := &Baseline{}
	sc := bufio.NewScanner(r)
	for n := 1; sc.Scan(); n++ {
		line := strings.TrimRight(sc.Text(), " \t\r")
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		m := lineForm.FindStringSubmatch(line)
		if m == nil {
			return nil, fmt.Errorf("%s:%d: line %q is no baseline entry; an entry is an identity of 32 hex digits, a rule and record#pointer: write the file with proofload baseline update", file, n, clip(line))
		}
		b.Entries = append(b.Entries, Entry{Identity: m[1], Rule: m[2], Record: specdata.Name(m[3]), Pointer: m[4], Line: n})
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("baseline %s could not be read: %w", file, err)
	}
	b.sort()
	return b, nil
}

func clip(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:60], "") + "…"
	}
	return s
}

// New makes a baseline of findings. Findings without a record, which are those of
// files that could not be read, are left out: nothing about such a file is known.
func New(findings []specdata.Finding) *Baseline {
	b := &Baseline{}
	for _, f := range findings {
		if f.Record != "" && f.Waived == "" {
			b.Entries = append(b.Entries, Entry{Identity: f.Identity, Rule: f.Rule, Record: f.Record, Pointer: f.Pointer})
		}
	}
	b.sort()
	return b
}

func (b *Baseline) sort() {
	slices.SortStableFunc(b.Entries, func(x, y Entry) int {
		return cmp.Or(cmp.Compare(x.Record, y.Record), cmp.Compare(x.Pointer, y.Pointer), cmp.Compare(x.Rule, y.Rule), cmp.Compare(x.Identity, y.Identity))
	})
	b.Entries = slices.CompactFunc(b.Entries, func(x, y Entry) bool { return x.Identity == y.Identity })
}

// Bytes returns the file.
func (b *Baseline) Bytes() []byte {
	var w bytes.Buffer
	w.WriteString(head)
	for _, e := range b.Entries {
		fmt.Fprintf(&w, "%s %s %s#%s\n", e.Identity, e.Rule, e.Record, e.Pointer)
	}
	return w.Bytes()
}

// Split divides findings into those that are new and those the baseline knows.
// Waived findings are neither known nor new to it and stay in fresh. stale lists
// the entries that no finding matched.
func (b *Baseline) Split(findings []specdata.Finding) (fresh, known []specdata.Finding, stale []Entry) {
	seen := make(map[string]bool, len(b.Entries))
	for _, e := range b.Entries {
		seen[e.Identity] = false
	}
	for _, f := range findings {
		if _, ok := seen[f.Identity]; ok && f.Record != "" && f.Waived == "" {
			seen[f.Identity] = true
			known = append(known, f)
			continue
		}
		fresh = append(fresh, f)
	}
	for _, e := range b.Entries {
		if !seen[e.Identity] {
			stale = append(stale, e)
		}
	}
	return fresh, known, stale
}

// Without returns the baseline less some entries.
func (b *Baseline) Without(stale []Entry) *Baseline {
	gone := map[string]bool{}
	for _, e := range stale {
		gone[e.Identity] = true
	}
	return &Baseline{Entries: slices.DeleteFunc(slices.Clone(b.Entries), func(e Entry) bool { return gone[e.Identity] })}
}
