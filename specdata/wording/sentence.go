package wording

import (
	"strings"

	"proofload/specdata"
)

// Sentence fills in the placeholders of a step's text. tightening gives the line
// for a fastener's id, "" for one it does not know; a placeholder that names
// nothing stays as it is, because a wrong value must not take its place.
func Sentence(p *specdata.Procedure, s *specdata.Step, tightening func(id string) string) string {
	text := s.Text
	for _, id := range specdata.Placeholders(s.Text, "torque") {
		if line := tightening(id); line != "" {
			text = strings.ReplaceAll(text, "{torque:"+id+"}", line)
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "tool") {
		for i := range p.Tools {
			if p.Tools[i].ID == id {
				text = strings.ReplaceAll(text, "{tool:"+id+"}", p.Tools[i].Title)
			}
		}
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

// Limit gives the bounds of a measured value, "" where there are none.
func Limit(op *specdata.Operation) string {
	switch low, high := specdata.Display(op.Low), specdata.Display(op.High); {
	case low != "" && high != "":
		return low + " to " + high
	case low != "":
		return "at least " + low
	case high != "":
		return "at most " + high
	}
	return ""
}
