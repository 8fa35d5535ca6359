package lint

import (
	"fmt"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
)

// MaxWaiver is the longest a waiver may run.
const MaxWaiver = 180 * 24 * time.Hour

// MinReason is the least number of characters of a waiver's reason.
const MinReason = 15

// The rules of waivers themselves. They are findings like any other, and nothing waives them.
const (
	RuleWaiverExpired   = "waiver-expired"
	RuleWaiverMalformed = "waiver-malformed"
	RuleWaiverUnmatched = "waiver-unmatched"
)

// settleWaivers marks the findings that a waiver of the record accepts and adds a
// finding for every waiver that is expired, malformed or accepts nothing.
func settleWaivers(o Options, e *library.Entry, findings []specdata.Finding) []specdata.Finding {
	var own []specdata.Finding
	for i, w := range e.Record.Header().Waivers {
		at := fmt.Sprintf("/waivers/%d", i)
		say := func(rule, pointer, format string, args ...any) {
			f := specdata.Finding{Rule: rule, Severity: Error, Record: e.Name(), Pointer: pointer, Message: fmt.Sprintf(format, args...)}
			complete(&f, e)
			own = append(own, f)
		}
		until, err := w.Until.Time()
		rule := ruleNamed(o.Rules, w.Rule)
		switch {
		case err != nil:
			say(RuleWaiverMalformed, at+"/until", "waiver of %s: %v; it counts as expired", w.Rule, err)
		case rule == nil:
			say(RuleWaiverMalformed, at+"/rule", "waiver names rule %q, which does not exist; correct the name or remove the waiver", w.Rule)
		case rule.NoWaiver:
			say(RuleWaiverMalformed, at+"/rule", "waiver of %s: findings of this rule cannot be waived; mend the value", w.Rule)
		case len([]rune(w.Reason)) < MinReason:
			say(RuleWaiverMalformed, at+"/reason", "waiver of %s has a reason of %d characters; say in at least %d why the value stands", w.Rule, len([]rune(w.Reason)), MinReason)
		case until.Sub(o.Date) > MaxWaiver:
			say(RuleWaiverMalformed, at+"/until", "waiver of %s runs until %s, more than 180 days from %s; shorten it", w.Rule, w.Until, o.Date.Format(time.DateOnly))
		case until.Before(o.Date):
			say(RuleWaiverExpired, at+"/until", "waiver of %s expired on %s; mend the value or have the waiver renewed by review", w.Rule, w.Until)
		default:
			if !accept(findings, w) {
				say(RuleWaiverUnmatched, at, "waiver of %s at %s for value %q accepts nothing: the rule is silent there or the value has changed; remove it", w.Rule, w.At, w.Value)
			}
		}
	}
	return append(findings, own...)
}

func accept(findings []specdata.Finding, w specdata.Waiver) bool {
	found := false
	for i := range findings {
		f := &findings[i]
		if f.Rule == w.Rule && f.Pointer == w.At && f.Value == w.Value {
			f.Waived = w.Reason
			found = true
		}
	}
	return found
}

func ruleNamed(rules []*Rule, name string) *Rule {
	for _, r := range rules {
		if r.Name == name {
			return r
		}
	}
	return nil
}
