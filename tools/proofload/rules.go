package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

func rulesCommand() *command {
	return &command{
		name: "rules", summary: "list the rules",
		examples: []string{"proofload rules", "proofload rules --json", "proofload rules --library ./our-library"},
		notes: []string{
			"Rules that reading and waiving themselves report stand at the end.",
			houseNote,
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
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
				width := 0
				for _, r := range all {
					width = max(width, len(r.Name))
				}
				for _, r := range all {
					fmt.Fprintf(e.stdout, "%-*s  %-7s  %s\n", width, r.Name, r.Severity, r.Title)
				}
				return nil
			}
		},
	}
}

// everyRule gives the rules that a run over a library would use, in order of name,
// and behind them the built-in ones.
func everyRule(e *env, from string) ([]*lint.Rule, error) {
	lib, err := find(e, from)
	if err != nil {
		return nil, err
	}
	own, err := lib.houseRules()
	if err != nil {
		return nil, err
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
		list = append(list, ruleJSON{r.Name, r.Title, r.Severity, r.Edition, r.Source, kinds, !r.NoWaiver, r.Doc})
	}
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(list)
}
