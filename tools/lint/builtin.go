package lint

import (
	_ "embed"
	"strings"
	"sync"
)

//go:embed builtin.md
var builtinText string

// RuleStaleBaseline is what the command line reports; the reader's own names are in
// specdata/document, those of folders in specdata/library.
const RuleStaleBaseline = "stale-baseline"

// RuleTodoLeft is what the command line reports of comments that proofload new wrote.
const RuleTodoLeft = "todo-left"

// builtinEdition is the edition that has all of them.
const builtinEdition = "2026-12"

// Builtin lists, in order of name, what reading and waiving themselves report, for
// those who explain or list rules. They check nothing when run: Validate refuses
// them, and Options.Rules does not hold them.
var Builtin = sync.OnceValue(func() []*Rule {
	var rules []*Rule
	for _, part := range strings.Split("\n"+builtinText, "\n# ")[1:] {
		name, rest, _ := strings.Cut(part, "\n")
		title, doc, _ := strings.Cut(rest, "\n")
		_, source, _ := strings.Cut(doc, "## Source\n")
		r := &Rule{
			Name: name, Title: title, Doc: strings.TrimSpace(doc) + "\n", Severity: Error,
			Cites: builtinCitation(strings.Join(strings.Fields(source), " ")), Protects: Record, Edition: builtinEdition, NoWaiver: true,
		}
		if name == RuleTodoLeft {
			r.Severity = Warning
		}
		if name == RuleWaiverExpiring {
			r.Severity = Advice
		}
		rules = append(rules, r)
	}
	return rules
})

// builtinCitation reads the words below the heading Source of builtin.md.
func builtinCitation(source string) []Citation {
	if note, ok := strings.CutPrefix(source, "Common practice"); ok {
		return []Citation{{Kind: Practice, Note: strings.Trim(note, " .:")}}
	}
	kind := Design
	if strings.HasPrefix(source, "RFC") || strings.HasPrefix(source, "YAML") {
		kind = Standard
	}
	return []Citation{{Kind: kind, Document: strings.TrimSuffix(source, ".")}}
}
