// Package changedfactkeepscitation holds the rule changed-fact-keeps-citation: a
// fact beside the value changes and its citation does not.
package changedfactkeepscitation

import (
	_ "embed"
	"fmt"
	"reflect"
	"strings"

	"proofload/specdata"
	"proofload/specdata/wording"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "changed-fact-keeps-citation",
	Title:     "fact beside the value changes and its citation does not",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Source == nil || is.Source == nil || reread(was.Source, is.Source) {
		return
	}
	var at string
	var changed []string
	for _, f := range facts(was, is) {
		if f.was == f.is {
			continue
		}
		if at == "" {
			at = f.at
		}
		changed = append(changed, fmt.Sprintf("%s from %s to %s", f.name, shown(f.was), shown(f.is)))
	}
	if changed == nil {
		return
	}
	p.Reportf(at, "%s: the citation is still of what was read on %s; read the source again and give the place and the day, or put the fact back%s", strings.Join(changed, ", "), is.Source.ReadOn, silent(p, was))
}

// reread reports whether the citation names another document, place or quote than
// before. A new day alone shows nothing: it is written by whoever opens the record.
func reread(a, b *specdata.Citation) bool {
	return a.Document != b.Document || a.At != b.At || a.Quote != b.Quote
}

// silent says which rules looked at the record before and look at it no more.
func silent(p *lint.Pass, was *specdata.Fastener) string {
	fell := p.FallenSilent(was)
	if len(fell) == 0 {
		return ""
	}
	return "; these rules look at it no more: " + strings.Join(fell, ", ")
}

// said words a part of the record, "" where it is not stated.
func said[T any](x *T, words func(*T) string) string {
	if x == nil {
		return ""
	}
	return words(x)
}

type fact struct{ at, name, was, is string }

// facts lists what decides how a joint is made, apart from the value itself.
func facts(a, b *specdata.Fastener) []fact {
	var out []fact
	add := func(at, name, was, is string) { out = append(out, fact{at, name, was, is}) }
	at, bt := or(a.Thread), or(b.Thread)
	add("/thread", "thread", at.Designation, bt.Designation)
	add("/thread", "hand", at.Hand, bt.Hand)
	add("/thread", "tapped material", at.Into, bt.Into)
	add("/joint", "kind of joint", string(a.Joint), string(b.Joint))
	add("/thread/engagement", "engagement", at.Engagement.String(), bt.Engagement.String())
	add("/thread", "depth of the hole", at.Hole.String(), bt.Hole.String())
	add("/thread", "bore", at.Bore.String(), bt.Bore.String())
	add("/thread", "captive nut", at.Captive, bt.Captive)
	add("/stud", "stud", said(a.Stud, wording.Stud), said(b.Stud, wording.Stud))
	add("/seat", "seat", said(a.Seat, wording.Seat), said(b.Seat, wording.Seat))
	add("/clamped", "clamped parts", said(a.Clamped, wording.Clamped), said(b.Clamped, wording.Clamped))
	as, bs := or(a.Strength), or(b.Strength)
	add("/strength", "bolt class", as.Bolt, bs.Bolt)
	add("/strength", "nut class", as.Nut, bs.Nut)
	ad, bd := or(a.Drive), or(b.Drive)
	add("/drive", "turned side", ad.Turn, bd.Turn)
	add("/drive", "head", ad.Head, bd.Head)
	add("/drive", "nut", ad.Nut, bd.Nut)
	add("/surface", "surface", or(a.Surface).Condition, or(b.Surface).Condition)
	ti, tj := or(a.Tightening), or(b.Tightening)
	add("/tightening/state", "vehicle state", string(ti.State), string(tj.State))
	add("/tightening/and", "further vehicle states", fmt.Sprint(ti.And), fmt.Sprint(tj.And))
	add("/tightening/drag", "drag", ti.Drag, tj.Drag)
	add("/tightening/impact", "impact tool", ti.Impact, tj.Impact)
	ar, br := or(a.Reuse), or(b.Reuse)
	add("/reuse", "reuse", ar.Rule, br.Rule)
	if reflect.DeepEqual(a.Lock, b.Lock) {
		return out
	}
	return append(out, fact{lockAt(b), "lock", lock(a), lock(b)})
}

// or returns what a pointer points at, or the empty value.
func or[T any](p *T) T {
	var zero T
	if p == nil {
		return zero
	}
	return *p
}

func lock(f *specdata.Fastener) string {
	l := or(f.Lock)
	return strings.Join(strings.Fields(l.By+" "+l.Align+" "+l.Max.String()), " ")
}

// lockAt returns the place of the lock, the record's where it is gone.
func lockAt(f *specdata.Fastener) string {
	if f.Lock == nil {
		return ""
	}
	return "/lock"
}

func shown(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}
