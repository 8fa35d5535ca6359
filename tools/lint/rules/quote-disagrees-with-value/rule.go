// Package quotedisagreeswithvalue holds the rule quote-disagrees-with-value: quoted number is not the value of the record.
package quotedisagreeswithvalue

import (
	_ "embed"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "quote-disagrees-with-value",
	Title:     "quoted number is not the value of the record",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Practice, Note: "rounding intervals of the printed digits"}, {Kind: lint.Standard, Document: "NIST SP 811", Clause: "appendix B", Note: "factors"}},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Record:    check,
}

// loose is the miss, as a fraction, up to which a pair is put down to the source's own rounding.
const loose = 0.01

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Source == nil || f.Source.Quote == "" {
		p.NotChecked("/source", "the citation quotes no number")
		return
	}
	quote := f.Source.Quote
	if found, _ := specdata.Misread(quote); found != "" {
		p.NotChecked("/source/quote", fmt.Sprintf("the quote looks misread at %q", found))
		return
	}
	values := append(f.Quotable(), total(f.Tightening)...)
	mentions := specdata.Mentions(quote)
	if len(mentions) == 0 {
		bare(p, quote, values, f.Tightening)
		return
	}
	for i := 0; i < len(mentions); i++ {
		m := mentions[i]
		switch {
		case m.Quantity.IsZero():
			p.NotChecked("/source/quote", fmt.Sprintf("%q has two readings, as a decimal and as thousands", m.Text))
		case m.Margin:
		case m.Low && i+1 < len(mentions) && within(m.Quantity, mentions[i+1].Quantity, values):
			i++
		default:
			judge(p, m.Quantity, values, f.Tightening)
		}
	}
}

// total returns the sum in degrees of the angles of a tightening that has several,
// which sources print beside them ("45° + 45°, 90° in all"); none where it has
// fewer than two.
func total(t *specdata.Tightening) []specdata.Quantity {
	n := 0
	for _, s := range t.Values() {
		if !s.Angle.IsZero() {
			n++
		}
	}
	u, ok := specdata.LookupUnit("deg")
	if n < 2 || !ok {
		return nil
	}
	sum := new(big.Rat)
	for _, s := range t.Values() {
		if a, err := s.Angle.In(u); err == nil {
			sum.Add(sum, a)
		}
	}
	places := 0
	if !sum.IsInt() {
		places = 1
	}
	q, err := specdata.ParseQuantity(sum.FloatString(places) + " deg")
	if err != nil {
		return nil
	}
	return []specdata.Quantity{q}
}

// within reports whether a value of the record lies in a range the source prints.
func within(low, high specdata.Quantity, values []specdata.Quantity) bool {
	for _, v := range values {
		if v.Dimension() == low.Dimension() && low.SI() <= v.SI()*(1+1e-9) && v.SI() <= high.SI()*(1+1e-9) {
			return true
		}
	}
	return false
}

func judge(p *lint.Pass, quoted specdata.Quantity, values []specdata.Quantity, t *specdata.Tightening) {
	var nearest specdata.Quantity
	slipped := ""
	for _, v := range values {
		if quoted.Agree(v) && !quoted.Relabels(v) {
			return
		}
		if v.Dimension() == quoted.Dimension() && (nearest.IsZero() || quoted.Miss(v) < quoted.Miss(nearest)) {
			nearest = v
		}
		if quoted.Relabels(v) {
			slipped = "; the number is the same and the unit another"
		}
	}
	if nearest.IsZero() {
		p.Reportf("/source/quote", "quote says %s, and the record has no %s (%s); a stage was lost, or the quote is of another fastener", specdata.Display(quoted), quoted.Dimension(), t)
		return
	}
	pr := lint.Problem{
		At: "/source/quote",
		Message: fmt.Sprintf("quote says %s, and the record says %s%s; read the source again and correct the one that is wrong",
			specdata.Display(quoted), t, slipped),
		Arithmetic: []string{arithmetic(quoted, nearest)},
	}
	if quoted.Agree(nearest) {
		pr.Severity = lint.Warning // so small that rounding could explain it
	} else if miss := quoted.Miss(nearest); miss <= loose {
		pr.Severity = lint.Advice
		pr.Message = fmt.Sprintf("quote says %s, which is %.1f %% from %s; the source rounds loosely, or a digit was misread", specdata.Display(quoted), 100*miss, specdata.Display(nearest))
	}
	p.Report(pr)
}

func arithmetic(a, b specdata.Quantity) string {
	low, high := a.Interval()
	l, _ := low.Float64()
	h, _ := high.Float64()
	return fmt.Sprintf("%s stands for %.6g to %.6g %s; %s is %.6g %s", specdata.Display(a), l, h, a.Unit().Display, specdata.Display(b), b.Float(a.Unit().Symbol), a.Unit().Display)
}

// bare compares a quote without units by its numbers alone; the unit is not guessed.
func bare(p *lint.Pass, quote string, values []specdata.Quantity, t *specdata.Tightening) {
	numbers := specdata.Numbers(quote)
	for _, n := range numbers {
		if slices.ContainsFunc(values, func(v specdata.Quantity) bool { return n == v.Number() || trimmed(n) == trimmed(v.Number()) }) {
			return
		}
	}
	if len(numbers) == 0 {
		p.NotChecked("/source/quote", "the quote has no number")
		return
	}
	p.Report(lint.Problem{At: "/source/quote", Severity: lint.Warning, Message: fmt.Sprintf(
		"quote gives %s without a unit, and no value of the record (%s) has that number; quote the number with its unit, and correct the one that is wrong", strings.Join(numbers, ", "), t)})
}

// trimmed leaves out the zeros that say only how exactly a number was printed.
func trimmed(number string) string {
	if strings.Contains(number, ".") {
		return strings.TrimRight(strings.TrimRight(number, "0"), ".")
	}
	return number
}
