package wording

import (
	"strings"

	"proofload/specdata"
)

// Sentence fills in the placeholders of a step's text. fastener gives the record for
// an id, nil for one it does not know; a placeholder that names nothing stays as it
// is, because a wrong value must not take its place.
func Sentence(p *specdata.Procedure, s *specdata.Step, fastener func(id string) *specdata.Fastener) string {
	text := s.Text
	for _, shown := range specdata.ValuesShown(s.Text) {
		f := fastener(shown.Fastener)
		if f == nil || f.Tightening == nil {
			continue
		}
		value := Tightening(f.Tightening)
		if shown.Stage != 0 {
			value = Stages(f.Tightening, []int{shown.Stage - 1})
		}
		if value != "" {
			text = strings.ReplaceAll(text, shown.Placeholder, value)
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "tool") {
		if t := p.ToolOf(id); t != nil {
			text = strings.ReplaceAll(text, "{tool:"+id+"}", t.Title)
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "recheck") {
		if f := fastener(id); f != nil && !f.Recheck().IsZero() {
			text = strings.ReplaceAll(text, "{recheck:"+id+"}", specdata.Display(f.Recheck()))
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "amount") {
		if c := p.ConsumableOf(id); c != nil && !c.Amount.IsZero() {
			text = strings.ReplaceAll(text, "{amount:"+id+"}", specdata.Display(c.Amount))
		}
	}
	if least := s.Waits(); !least.IsZero() {
		text = strings.ReplaceAll(text, "{wait}", specdata.Display(least))
	}
	if strings.Contains(text, "{limit}") {
		for i := range s.Operations {
			if limit := Limit(&s.Operations[i]); limit != "" {
				text = strings.ReplaceAll(text, "{limit}", limit)
				break
			}
		}
	}
	return text
}

// Limit returns the bounds of a measured value, "" where there are none.
func Limit(op *specdata.Operation) string { return Bounds(op.Low, op.High) }

// Bounds returns two bounds in words, of which either may be absent.
func Bounds(l, h specdata.Quantity) string {
	switch low, high := specdata.Display(l), specdata.Display(h); {
	case low != "" && high != "":
		return Between(low, high)
	case low != "":
		return "at least " + low
	case high != "":
		return "at most " + high
	}
	return ""
}
