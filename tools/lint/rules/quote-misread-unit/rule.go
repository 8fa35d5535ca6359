// Package quotemisreadunit holds the rule quote-misread-unit: quote reads like a scanning slip.
package quotemisreadunit

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "quote-misread-unit",
	Title:     "quote reads like a scanning slip",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Source != nil && f.Source.Quote != "" }),
	Record:    check,
}

// doubtful is a number with a question mark at or among its digits.
var doubtful = lint.MustPhrase(`[0-9.,]*(?:[0-9]\?|\?[0-9])[0-9.,?]*`)

func check(p *lint.Pass) {
	f := p.Fastener()
	if found := doubtful.FindString(f.Source.Quote); found != "" {
		pr := lint.Problem{At: "/source/quote", Message: fmt.Sprintf("quote has %q, a digit that is in doubt; read a better copy, or find the second unit that settles it", found)}
		if also := settles(f.Tightening); !also.IsZero() {
			pr.Severity = lint.Advice
			pr.Message = fmt.Sprintf("quote has %q, a digit that was in doubt; the second unit, %s, settles it: quote the number without the mark", found, specdata.Display(also))
		}
		p.Report(pr)
		return
	}
	if found, meant := specdata.Misread(f.Source.Quote); found != "" {
		p.Report(lint.Problem{At: "/source/quote", Severity: lint.Advice, Message: fmt.Sprintf("quote has %q, which looks like a misread %q; look at the page again, then correct the quote and check the digits beside it", found, meant)})
	}
}

// settles returns the pair of the final torque where the two convert, absent where
// there is none.
func settles(t *specdata.Tightening) (also specdata.Quantity) {
	if _, s := t.FinalTorque(); s != nil && s.Torque.Agree(s.Also) {
		also = s.Also
	}
	return also
}
