package lint

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Unread says what could not be judged because a record cannot be read, does not exist or
// is not known to apply to anything.
type Unread struct {
	Record specdata.Name `json:"record"`
	// File is that of the record, "" for one that does not exist.
	File string `json:"file,omitempty"`
	// Why completes a sentence that begins with the record: "cannot be read".
	Why string `json:"why"`
	// Checks counts the rules that were left out, once for each record; Records counts those records.
	Checks  int `json:"checks"`
	Records int `json:"records"`
}

// watched is a library that notes which unreadable and doubtful records it is asked for.
// Each worker has its own.
type watched struct {
	library.Library
	unread   map[specdata.Name]string
	doubtful map[specdata.Name]string
	self     specdata.Name // is being judged
	asked    []specdata.Name
}

// Get implements library.Library.
func (w *watched) Get(name specdata.Name) *library.Entry {
	e := w.Library.Get(name)
	if e == nil && w.unread[name] != "" || name != w.self && w.doubtful[name] != "" {
		w.asked = append(w.asked, name)
	}
	return e
}

// Alike implements library.ByLikeness.
func (w *watched) Alike(like library.Likeness, id string, n int) []*library.Entry {
	return library.Alike(w.Library, like, id, n)
}

// Incomplete reports whether records of a kind are missing because their files
// cannot be read, and if so records that the rule could not judge. Rules that
// conclude from there being no other record ask it first.
func (p *Pass) Incomplete(at string, k specdata.Kind) bool {
	if p.watched == nil {
		return false
	}
	for name := range p.watched.unread {
		if name.Kind() == k {
			p.NotChecked(at, fmt.Sprintf("a %s cannot be read, so it is not known whether there is another", k))
			return true
		}
	}
	for name, why := range p.watched.doubtful {
		if name.Kind() == k && p.watched.Library.Get(name) != nil {
			p.NotChecked(at, fmt.Sprintf("a %s %s, so it is not known whether there is another", k, why))
			return true
		}
	}
	return false
}

// sharing runs what several rules share, or, where that has run already, notes
// again which unreadable records it asked for.
func (p *Pass) sharing(key string, work func()) {
	if p.watched == nil {
		if work != nil {
			work()
		}
		return
	}
	if work == nil {
		p.watched.asked = append(p.watched.asked, p.shared[key]...)
		return
	}
	before := len(p.watched.asked)
	work()
	if p.shared == nil {
		p.shared = map[string][]specdata.Name{}
	}
	p.shared[key] = slices.Clone(p.watched.asked[before:])
}

// leaveOut takes back what the pass's rule said of the record, which it could not
// judge because it asked for a record that cannot be read.
func (p *Pass) leaveOut(findings, skipped int) {
	if p.watched == nil {
		return
	}
	if p.rule.Name == RuleUnresolved { // it says what is doubtful
		p.watched.asked = slices.DeleteFunc(p.watched.asked, func(n specdata.Name) bool { return p.watched.doubtful[n] != "" })
	}
	if len(p.watched.asked) == 0 {
		return
	}
	name := slices.Min(p.watched.asked)
	p.findings, p.skipped = p.findings[:findings], p.skipped[:skipped]
	file, why := p.watched.unread[name], "cannot be read"
	if d := p.watched.doubtful[name]; d != "" {
		file, why = string(name), d
	}
	p.NotChecked("", file+" "+why+"; mend it first")
	p.leftOut = append(p.leftOut, leftOut{p.rule.Name, name})
	p.watched.asked = p.watched.asked[:0]
}

type leftOut struct {
	rule   string
	record specdata.Name
}

// doubts returns the vehicles that do not exist, and the records that are for one: what is
// said after asking for any of them follows from that, and is no finding of its own.
func doubts(o *Options, rep *Report) map[specdata.Name]string {
	var out map[specdata.Name]string
	for _, f := range rep.Findings {
		if f.Rule != RuleUnresolved || f.Waived != "" {
			continue
		}
		e := o.Library.Get(f.Record)
		if e == nil {
			continue
		}
		for _, ref := range specdata.References(e.Record) {
			if ref.Pointer != f.Pointer || ref.Name.Kind() != specdata.KindVehicle {
				continue
			}
			if out == nil {
				out = map[specdata.Name]string{}
			}
			out[ref.Name] = "does not exist"
			if strings.HasPrefix(ref.Pointer, "/applies_to/") && out[f.Record] == "" {
				out[f.Record] = "is for a vehicle that does not exist"
			}
		}
	}
	return out
}

// RuleUnresolved is the rule that a reference leads nowhere, the cause of what other rules
// say of the same records.
const RuleUnresolved = "unresolved-reference"

// unread sums up what was left out.
func unread(o *Options, results []result) []Unread {
	counts := map[specdata.Name]*Unread{}
	for _, res := range results {
		seen := map[specdata.Name]bool{}
		for _, l := range res.leftOut {
			u := counts[l.record]
			if u == nil {
				u = &Unread{Record: l.record, File: o.Unread[l.record], Why: "cannot be read"}
				if d := o.doubtful[l.record]; d != "" {
					u.Why = d
					if e := o.Library.Get(l.record); e != nil {
						u.File = e.Position("").File
					}
				}
				counts[l.record] = u
			}
			u.Checks++
			if !seen[l.record] {
				seen[l.record] = true
				u.Records++
			}
		}
	}
	var out []Unread
	for _, u := range counts {
		out = append(out, *u)
	}
	slices.SortFunc(out, func(a, b Unread) int { return compareNames(a.Record, b.Record) })
	return out
}
