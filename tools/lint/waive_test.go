package lint_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/tools/lint"
)

func TestWaivers(t *testing.T) {
	speaks := rule("no-edition", func(p *lint.Pass) {
		if p.Source().Edition == "draft" {
			p.Reportf("/edition", "edition is draft")
		}
	})
	strict := rule("never-waived", func(p *lint.Pass) { p.Report(lint.Problem{At: "/title", Message: "title", Severity: lint.Advice}) })
	strict.NoWaiver = true
	const good = "rule: no-edition, at: /edition, value: draft, reason: agreed with the issuer, until: \"2027-01-31\", by: Piet Oram"
	finding := "error sources/a/edition no-edition: edition is draft"
	waived := "error sources/a/edition no-edition (waived): edition is draft"
	title := "advice sources/a/title never-waived: title"
	tests := []struct {
		name, from, to string
		date           string
		want           []string
	}{
		{"accepts", "", "", "", []string{waived, title}},
		{"accepts on its last day", "", "", "2027-01-31", []string{waived, title,
			"advice sources/a/waivers/0/until waiver-expiring: waiver of no-edition ends on 2027-01-31, today; mend the value or have the waiver renewed by review"}},
		{"speaks 14 days before", "", "", "2027-01-17", []string{waived, title,
			"advice sources/a/waivers/0/until waiver-expiring: waiver of no-edition ends on 2027-01-31, in 14 days; mend the value or have the waiver renewed by review"}},
		{"is silent 15 days before", "", "", "2027-01-16", []string{waived, title}},
		{"expires the day after", "", "", "2027-02-01", []string{finding, title,
			"error sources/a/waivers/0/until waiver-expired: waiver of no-edition expired on 2027-01-31; mend the value or have the waiver renewed by review"}},
		{"180 days are allowed", "2027-01-31", "2027-05-24", "", []string{waived, title}},
		{"181 days are not", "2027-01-31", "2027-05-25", "", []string{finding, title,
			"error sources/a/waivers/0/until waiver-malformed: waiver of no-edition runs until 2027-05-25, more than 180 days from 2026-11-25; shorten it"}},
		{"value changed", "value: draft", "value: \"2\"", "", []string{finding, title,
			`error sources/a/waivers/0 waiver-unmatched: waiver of no-edition at /edition accepts value "2", but the value is now "draft"; it was given for that value only: mend the value or have the waiver renewed by review`}},
		{"wrong place", "at: /edition", "at: /issuer", "", []string{finding, title,
			`error sources/a/waivers/0 waiver-unmatched: waiver of no-edition at /issuer for value "draft" accepts nothing: the rule speaks at /edition, value "draft"; correct the waiver or remove it`}},
		{"rule unknown", "rule: no-edition", "rule: no-editoin", "", []string{finding, title,
			`error sources/a/waivers/0/rule waiver-malformed: waiver names rule "no-editoin", which does not exist; did you mean "no-edition"? Otherwise remove the waiver`}},
		{"rule not to be waived", good, "rule: never-waived, at: /title, value: Sheet, reason: agreed with the issuer, until: \"2027-01-31\", by: Piet Oram", "", []string{finding, title,
			"error sources/a/waivers/0/rule waiver-malformed: waiver of never-waived: findings of this rule cannot be waived; mend the value"}},
		{"of a waiver", "rule: no-edition", "rule: waiver-expired", "", []string{finding, title,
			"error sources/a/waivers/0/rule waiver-malformed: waiver of waiver-expired: findings about waivers cannot be waived; mend the waiver they speak about"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			date := day
			if tt.date != "" {
				var err error
				if date, err = specdata.Date(tt.date).Time(); err != nil {
					t.Fatal(err)
				}
				date = date.Add(13 * time.Hour) // the time of day must not matter
			}
			lib := sources(t, source("a", "edition: draft", "waivers: [{"+strings.Replace(good, tt.from, tt.to, 1)+"}]"))
			rep := run(t, lint.Options{Rules: []*lint.Rule{speaks, strict}, Library: lib, Date: date})
			got := lines(rep.Findings)
			slices.Sort(got)
			slices.Sort(tt.want)
			if !slices.Equal(got, tt.want) {
				t.Errorf("findings:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(tt.want, "\n"))
			}
		})
	}
}

// TestWaiverSilentRule: when the value is mended the waiver is in the way and says so.
func TestWaiverSilentRule(t *testing.T) {
	silent := rule("no-edition", func(*lint.Pass) {})
	lib := sources(t, source("a", `waivers: [{rule: no-edition, at: /edition, value: draft, reason: agreed with the issuer, until: "2027-01-31", by: Piet Oram}]`))
	rep := run(t, lint.Options{Rules: []*lint.Rule{silent}, Library: lib})
	if len(rep.Findings) != 1 || !strings.Contains(rep.Findings[0].Message, "the rule is silent about this record; remove it") {
		t.Errorf("findings are %q", lines(rep.Findings))
	}
}

// TestWaiverByKey: a waiver that names a list element by its key outlives reordering.
func TestWaiverByKey(t *testing.T) {
	r := rule("wide-clause", func(p *lint.Pass) {
		for i, a := range p.Fastener().AppliesTo {
			if a.Vehicle == "tansy-2" {
				p.Reportf(fmt.Sprintf("/applies_to/%d/side", i), "side is %s", a.Side)
			}
		}
	})
	r.AppliesTo = lint.Kind(specdata.KindFastener)
	for _, clauses := range []string{"[{vehicle: tansy-1, side: each}, {vehicle: tansy-2, side: each}]", "[{vehicle: tansy-2, side: each}, {vehicle: tansy-1, side: each}]"} {
		lib := fasteners(t, "applies_to: "+clauses+"\nwaivers: [{rule: wide-clause, at: /applies_to/vehicle=tansy-2/side, value: each, reason: agreed with the issuer, until: \"2027-01-31\", by: Piet Oram}]\n")
		rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: lib})
		if len(rep.Findings) != 1 || rep.Findings[0].Waived != "agreed with the issuer" {
			t.Errorf("with %s the findings are %q, want one waived", clauses, lines(rep.Findings))
		}
	}
}

// TestSeveralWaivers: every waiver of a record counts, in whatever order they stand.
func TestSeveralWaivers(t *testing.T) {
	one := rule("no-edition", func(p *lint.Pass) { p.Reportf("/edition", "edition is draft") })
	two := rule("no-issuer", func(p *lint.Pass) { p.Reportf("/issuer", "issuer is not known") })
	waiver := func(rule, at, value string) string {
		return "{rule: " + rule + ", at: " + at + ", value: " + value + `, reason: agreed with the issuer, until: "2027-01-31", by: Piet Oram}`
	}
	edition, issuer := waiver("no-edition", "/edition", "draft"), waiver("no-issuer", "/issuer", "VALUE")
	plain := run(t, lint.Options{Rules: []*lint.Rule{one, two}, Library: sources(t, source("a", "edition: draft"))})
	if len(plain.Findings) != 2 {
		t.Fatalf("without waivers: %q", lines(plain.Findings))
	}
	for _, f := range plain.Findings {
		if f.Pointer == "/issuer" {
			issuer = strings.Replace(issuer, "VALUE", fmt.Sprintf("%q", f.Value), 1)
		}
	}
	for _, list := range []string{edition + ", " + issuer, issuer + ", " + edition} {
		rep := run(t, lint.Options{Rules: []*lint.Rule{one, two}, Library: sources(t, source("a", "edition: draft\nwaivers: ["+list+"]"))})
		waived := 0
		for _, f := range rep.Findings {
			if f.Waived != "" {
				waived++
			}
		}
		if waived != 2 || len(rep.Findings) != 2 {
			t.Errorf("with [%s] the findings are %q, want two waived", list, lines(rep.Findings))
		}
	}
}
