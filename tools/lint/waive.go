package lint

import (
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
)

// MaxWaiver is the longest a waiver may run.
const MaxWaiver = 180 * 24 * time.Hour

// WaiverNotice is how long before its end a waiver is spoken about.
const WaiverNotice = 14 * 24 * time.Hour

// MinReason is the least number of characters of a waiver's reason.
const MinReason = 15

// The rules of waivers themselves. They are findings like any other, and nothing waives them.
const (
	RuleWaiverExpired   = "waiver-expired"
	RuleWaiverExpiring  = "waiver-expiring"
	RuleWaiverMalformed = "waiver-malformed"
	RuleWaiverUnmatched = "waiver-unmatched"
)

// settleWaivers marks the findings that a waiver of the record accepts and adds a
// finding for every waiver that is expired, about to expire, malformed or accepts
// nothing. Whatever is wrong with a waiver, it then accepts nothing.
func settleWaivers(o *Options, e *library.Entry, findings []specdata.Finding, doc *decoded, out []leftOut) []specdata.Finding {
	var own []specdata.Finding
	for i, w := range e.Record.Header().Waivers {
		at := fmt.Sprintf("/waivers/%d", i)
		say := func(rule string, sev specdata.Severity, pointer, message string) {
			f := specdata.Finding{Rule: rule, Severity: sev, Record: e.Name(), Pointer: pointer, Message: message}
			complete(&f, e, doc)
			own = append(own, f)
		}
		if field, message := malformed(o, w); message != "" {
			say(RuleWaiverMalformed, Error, at+field, message)
			continue
		}
		until, _ := w.Until.Time() // malformed has seen to it
		if until.Before(o.Date) {
			say(RuleWaiverExpired, Error, at+"/until", fmt.Sprintf("waiver of %s expired on %s; mend the value or have the waiver renewed by review", w.Rule, w.Until))
			continue
		}
		if slices.ContainsFunc(out, func(l leftOut) bool { return l.rule == w.Rule }) {
			continue // the rule could not judge, so it is not known whether the waiver is needed
		}
		if !accept(findings, w, doc) {
			say(RuleWaiverUnmatched, Error, at, unmatched(findings, w))
			if !speaks(findings, w.Rule) {
				own[len(own)-1].Fix = removal(e, i)
			}
			continue
		}
		if left := until.Sub(o.Date); left <= WaiverNotice {
			say(RuleWaiverExpiring, Advice, at+"/until", fmt.Sprintf("waiver of %s ends on %s, %s; mend the value or have the waiver renewed by review", w.Rule, w.Until, inDays(left)))
		}
	}
	return append(findings, own...)
}

// malformed says which field of a waiver is not as it must be, and how to mend it; "" when none.
func malformed(o *Options, w specdata.Waiver) (field, message string) {
	until, err := w.Until.Time()
	rule := ruleNamed(o.Rules, w.Rule)
	reason := len([]rune(strings.TrimSpace(w.Reason)))
	switch {
	case strings.HasPrefix(w.Rule, "waiver-"):
		return "/rule", fmt.Sprintf("waiver of %s: findings about waivers cannot be waived; mend the waiver they speak about", w.Rule)
	case rule == nil:
		return "/rule", fmt.Sprintf("waiver names rule %q, which does not exist; %s", w.Rule, correction(o.Rules, w.Rule))
	case rule.NoWaiver:
		return "/rule", fmt.Sprintf("waiver of %s: findings of this rule cannot be waived; mend the value", w.Rule)
	case reason < MinReason:
		return "/reason", fmt.Sprintf("waiver of %s has a reason of %d characters; say in at least %d why the value stands", w.Rule, reason, MinReason)
	case w.By == "":
		return "/by", fmt.Sprintf("waiver of %s does not say who accepts the finding; name the person in by", w.Rule)
	case err != nil:
		return "/until", fmt.Sprintf("waiver of %s: %v; it counts as expired", w.Rule, err)
	case until.Sub(o.Date) > MaxWaiver:
		return "/until", fmt.Sprintf("waiver of %s runs until %s, more than %d days from %s; shorten it", w.Rule, w.Until, MaxWaiver/(24*time.Hour), o.Date.Format(time.DateOnly))
	}
	return "", ""
}

// accept marks every finding that the waiver names by rule, place and value, and
// says whether there was one. The place may be written by number or by key.
func accept(findings []specdata.Finding, w specdata.Waiver, doc *decoded) bool {
	found := false
	for i := range findings {
		f := &findings[i]
		if f.Rule != w.Rule || f.Value != w.Value {
			continue
		}
		if _, byKey := doc.lookUp(f.Pointer); f.Pointer == w.At || byKey == w.At {
			f.Waived = w.Reason
			found = true
		}
	}
	return found
}

// unmatched says why a waiver accepts nothing, with the finding it was probably meant for.
func unmatched(findings []specdata.Finding, w specdata.Waiver) string {
	for _, f := range findings {
		if f.Rule != w.Rule || f.Waived != "" {
			continue
		}
		if f.Pointer == w.At {
			return fmt.Sprintf("waiver of %s at %s accepts value %q, but the value is now %q; it was given for that value only: mend the value or have the waiver renewed by review", w.Rule, w.At, w.Value, f.Value)
		}
		return fmt.Sprintf("waiver of %s at %s for value %q accepts nothing: the rule speaks at %s, value %q; correct the waiver or remove it", w.Rule, w.At, w.Value, f.Pointer, f.Value)
	}
	return fmt.Sprintf("waiver of %s at %s for value %q accepts nothing: the rule is silent about this record; remove it", w.Rule, w.At, w.Value)
}

// speaks reports whether a rule has a finding that no waiver accepts.
func speaks(findings []specdata.Finding, rule string) bool {
	return slices.ContainsFunc(findings, func(f specdata.Finding) bool { return f.Rule == rule && f.Waived == "" })
}

// removal takes a waiver out, and the list with its last one.
func removal(e *library.Entry, i int) []specdata.Change {
	if len(e.Record.Header().Waivers) == 1 {
		return []specdata.Change{{Op: "remove", Path: "/waivers"}}
	}
	return []specdata.Change{{Op: "remove", Path: fmt.Sprintf("/waivers/%d", i)}}
}

func inDays(d time.Duration) string {
	switch n := int(d / (24 * time.Hour)); n {
	case 0:
		return "today"
	case 1:
		return "tomorrow"
	default:
		return fmt.Sprintf("in %d days", n)
	}
}

func correction(rules []*Rule, name string) string {
	if near := specdata.Nearest(name, ruleNames(rules)); near != "" {
		return fmt.Sprintf("did you mean %q? Otherwise remove the waiver", near)
	}
	return "correct the name or remove the waiver"
}

func ruleNames(rules []*Rule) iter.Seq[string] {
	return func(yield func(string) bool) {
		for _, r := range rules {
			if !yield(r.Name) {
				return
			}
		}
	}
}

func ruleNamed(rules []*Rule, name string) *Rule {
	for _, r := range rules {
		if r.Name == name {
			return r
		}
	}
	return nil
}
