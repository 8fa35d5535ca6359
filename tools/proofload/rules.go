package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

func rulesCommand() *command {
	return &command{
		name: "rules", summary: "list the rules",
		examples: []string{"proofload rules", "proofload rules --cites-only practice", "proofload rules --json", "proofload rules --library ./our-library"},
		notes: []string{
			"Rules are listed by what they protect; those that reading and waiving themselves report are\namong the last.",
			"Each rule cites what makes it a rule. One that cites only common practice has no document\nbehind it: proofload rules --cites-only practice lists those.",
			houseNote,
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			cited := fs.String("cites-only", "", "list only the rules that cite nothing but `kind`: "+citationKinds())
			asJSON := fs.Bool("json", false, "print the list as JSON, with the documents")
			return func(_ context.Context, e *env, args []string) error {
				if len(args) > 0 {
					return usagef("rules takes no arguments, found %q; proofload explain %s shows one rule", args[0], args[0])
				}
				all, err := everyRule(e, *from)
				if err != nil {
					return err
				}
				if *asJSON {
					return printRulesJSON(e, all)
				}
				if *cited != "" && !slices.Contains(lint.CitationKinds, lint.CitationKind(*cited)) {
					return usagef("kind of citation %q does not exist; allowed: %s", *cited, citationKinds())
				}
				all = slices.DeleteFunc(all, func(r *lint.Rule) bool { return *cited != "" && !citesOnly(r, lint.CitationKind(*cited)) })
				printRules(e.stdout, all)
				return nil
			}
		},
	}
}

// printRules lists rules by what they protect, and counts what they cite.
func printRules(w io.Writer, all []*lint.Rule) {
	width, practice, protects := 0, 0, lint.Ward("")
	for _, r := range all {
		width = max(width, len(r.Name))
		if r.OnlyPractice() {
			practice++
		}
	}
	all = slices.Clone(all)
	slices.SortStableFunc(all, lint.ByWard)
	for _, r := range all {
		if r.Protects != protects {
			protects = r.Protects
			fmt.Fprintf(w, "\n%s: %s\n", protects, protects.Means())
		}
		fmt.Fprintf(w, "  %-*s  %-7s  %s\n", width, r.Name, r.Severity, r.Title)
	}
	fmt.Fprintf(w, "\n%d rules; %d cite only common practice, %d a document.\n", len(all), practice, len(all)-practice)
}

// citesOnly reports whether a rule has no citation of another kind.
func citesOnly(r *lint.Rule, kind lint.CitationKind) bool {
	return !slices.ContainsFunc(r.Cites, func(c lint.Citation) bool { return c.Kind != kind })
}

func citationKinds() string {
	names := make([]string, len(lint.CitationKinds))
	for i, k := range lint.CitationKinds {
		names[i] = string(k)
	}
	return strings.Join(names, ", ")
}

type citationJSON struct {
	Kind       lint.CitationKind `json:"kind"`
	Document   string            `json:"document,omitempty"`
	Clause     string            `json:"clause,omitempty"`
	Edition    string            `json:"edition,omitempty"`
	Note       string            `json:"note,omitempty"`
	FromMemory bool              `json:"from_memory,omitempty"`
}

func citations(r *lint.Rule) []citationJSON {
	out := make([]citationJSON, len(r.Cites))
	for i, c := range r.Cites {
		out[i] = citationJSON(c)
	}
	return out
}

// everyRule returns the rules that a run over a library would use, in order of name,
// and behind them the built-in ones.
func everyRule(e *env, from string) ([]*lint.Rule, error) {
	lib, err := findAny(e, from)
	if err != nil {
		return nil, err
	}
	var own []*lint.Rule
	if lib != nil {
		if own, err = lib.houseRules(); err != nil {
			return nil, err
		}
	}
	all := slices.Concat(rules.All, own)
	slices.SortFunc(all, func(a, b *lint.Rule) int { return cmp.Compare(a.Name, b.Name) })
	return slices.Concat(all, lint.Builtin()), nil
}

// houseNote tells a shop how to write a rule of its own; package house has it in full.
const houseNote = `A library may bring rules of its own, one a file in its folder rules. This is one, whole
(rules/house-second-reader.yaml). The expression is CEL; it is true of a good record, and may
cost only so much. The examples are the rule's tests: without one of each it does not load.

  name: house-second-reader
  title: wheel torque has no second reader
  severity: warning
  applies: {kind: fastener, when: 'has(record.safety) && record.safety == "wheel"'}
  expression: 'has(record.source.checked_by)'
  at: /source
  message: 'torque {/tightening/stages/0/torque} has no second reader; name one'
  why: A wheel that comes off kills.
  wrong: [{safety: wheel, source: {entered_by: Maud Ibbot}}]
  right: [{safety: wheel, source: {entered_by: Maud Ibbot, checked_by: Piet Oram}}]

Expressions know record, today ("2026-11-25") and amount("62 N.m", "lbf.ft"), a quantity in a unit.`

type ruleJSON struct {
	Name      string            `json:"name"`
	Title     string            `json:"title"`
	Severity  specdata.Severity `json:"severity"`
	Edition   string            `json:"edition"`
	Source    string            `json:"source"`
	Cites     []citationJSON    `json:"cites"`
	Protects  lint.Ward         `json:"protects"`
	AppliesTo []specdata.Kind   `json:"applies_to"`
	Waivable  bool              `json:"waivable"`
	Doc       string            `json:"doc"`
}

func printRulesJSON(e *env, all []*lint.Rule) error {
	list := []ruleJSON{}
	for _, r := range all {
		kinds := r.AppliesTo.Kinds()
		if kinds == nil {
			kinds = specdata.Kinds
		}
		list = append(list, ruleJSON{r.Name, r.Title, r.Severity, r.Edition, r.Source(), citations(r), r.Protects, kinds, !r.NoWaiver, r.Doc})
	}
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(list)
}
