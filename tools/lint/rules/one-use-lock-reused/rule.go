// Package oneuselockreused finds locks that work once and are used again.
package oneuselockreused

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "one-use-lock-reused",
	Title:     "lock that works once is used again",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "FAA AC 43.13-1B", Clause: "chapter 7", Note: "pins and wire"}, {Kind: lint.Manual, Document: "US Army TB 43-0218", Note: "locking devices are discarded"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Reuse.Rule == "reuse" || f.Reuse.Rule == "measure" }),
	Record:    check,
}

// locks says for each lock which piece is spent, how certain that is, and what to do.
var locks = map[string]struct {
	severity specdata.Severity
	piece    string // of reuse.renew, "" where none helps
	what     string
}{
	"pin":                {lint.Error, "pin", "pin is bent once and breaks when bent again; add renew: [pin]"},
	"wire":               {lint.Advice, "pin", "wire is work-hardened once twisted; say in the note that it is new each time"},
	"tab":                {lint.Warning, "washer", "tab is cracked by bending it back; add renew: [washer]"},
	"stake":              {lint.Warning, "nut", "collar is staked into its groove once; mark it replace, or add renew: [nut]"},
	"insert":             {lint.Warning, "nut", "insert loses its grip; mark it replace, give the number of uses in times, or measure its drag"},
	"patch":              {lint.Advice, "bolt", "patch loses its grip; give the number of uses in times, or measure its drag"},
	"micro-encapsulated": {lint.Warning, "bolt", "compound in its capsules is spent once it has been turned in; mark it replace, or name the compound that takes its place as surface threadlock"},
	"deformed-thread":    {lint.Advice, "nut", "locking thread loses its grip; give the number of uses in times, or measure its drag"},
}

func check(p *lint.Pass) {
	f := p.Fastener()
	r := f.Reuse
	if s := f.Surface; s != nil && s.Condition == "precoated" && !slices.Contains(r.Renew, "bolt") && !slices.Contains(r.Renew, "nut") {
		p.Report(lint.Problem{At: "/reuse/rule", Severity: lint.Warning, Message: "reuse is " + r.Rule + ", but the coating on the thread is spent once it has been undone; mark it replace, or name the compound that takes its place as surface threadlock"})
	}
	if f.Lock == nil {
		return
	}
	l, ok := locks[f.Lock.By]
	if !ok || slices.Contains(r.Renew, l.piece) || f.Lock.By == "wire" && specdata.HasWord(f.Note, "wire") {
		return
	}
	counted := f.Lock.By == "insert" || f.Lock.By == "deformed-thread" || f.Lock.By == "patch"
	if counted && (r.Times > 0 || r.Rule == "measure") {
		return
	}
	p.Report(lint.Problem{At: "/reuse/rule", Severity: l.severity, Message: "reuse is " + r.Rule + ", but the " + l.what})
}
