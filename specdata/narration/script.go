package narration

import (
	"fmt"
	"math/big"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/library"
)

// Pace is how fast the times of a script are counted: words a second, of someone who
// speaks while working.
const Pace = 2.2

// Script writes a first script for a procedure: its cautions and steps in spoken English,
// each with the time at which it would be said. It is plain text with [m:ss] marks, which
// Read reads and Check finds nothing in.
func Script(p *specdata.Procedure, l library.Library) string {
	p = claim.Complete(p, l)
	var b strings.Builder
	at := 0.0
	say := func(text string) {
		text = strings.TrimSpace(text)
		fmt.Fprintf(&b, "[%s] %s\n", Clock(at), text)
		at += float64(len(strings.Fields(text))) / Pace
	}
	say(sentence(p.Title))
	for i := range p.Cautions {
		if c := &p.Cautions[i]; c.Signal != "notice" {
			say(sentence(c.Text))
		}
	}
	say("Check every value against the vehicle maker's own information.")
	for i := range p.Steps {
		s := &p.Steps[i]
		for k := range s.Cautions {
			say(sentence(s.Cautions[k].Text))
		}
		say(spokenStep(p, s, l))
	}
	return b.String()
}

func sentence(text string) string {
	if text = strings.TrimSpace(text); text != "" && !strings.ContainsAny(text[len(text)-1:], ".!?") {
		text += "."
	}
	return text
}

// spokenStep is a step's sentence with its values in words.
func spokenStep(p *specdata.Procedure, s *specdata.Step, l library.Library) string {
	text := s.Text
	for _, shown := range specdata.ValuesShown(s.Text) {
		f := library.Fastener(l, shown.Fastener)
		if f == nil || f.Tightening == nil {
			continue
		}
		var said []string
		for i := range f.Tightening.Stages {
			if shown.Stage == 0 || shown.Stage == i+1 {
				said = append(said, spokenStage(&f.Tightening.Stages[i]))
			}
		}
		text = strings.ReplaceAll(text, shown.Placeholder, strings.Join(said, ", then "))
	}
	for _, id := range specdata.Placeholders(s.Text, "tool") {
		if t := p.ToolOf(id); t != nil {
			text = strings.ReplaceAll(text, "{tool:"+id+"}", "the "+specdata.InSentence(t.Title))
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "recheck") {
		if f := library.Fastener(l, id); f != nil && !f.Recheck().IsZero() {
			text = strings.ReplaceAll(text, "{recheck:"+id+"}", spoken(f.Recheck()))
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "amount") {
		if c := p.ConsumableOf(id); c != nil && !c.Amount.IsZero() {
			text = strings.ReplaceAll(text, "{amount:"+id+"}", spoken(c.Amount))
		}
	}
	if least := s.Waits(); !least.IsZero() {
		text = strings.ReplaceAll(text, "{wait}", spoken(least))
	}
	if strings.Contains(text, "{limit}") {
		for i := range s.Operations {
			op := &s.Operations[i]
			low, high := spoken(op.Low), spoken(op.High)
			limit := ""
			switch {
			case low != "" && high != "":
				limit = "between " + low + " and " + high
			case high != "":
				limit = "no more than " + high
			case low != "":
				limit = "at least " + low
			default:
				continue
			}
			text = strings.ReplaceAll(text, "{limit}", limit)
			break
		}
	}
	return sentence(text)
}

func spokenStage(s *specdata.Stage) string {
	switch {
	case !s.Torque.IsZero() && !s.UpTo.IsZero():
		return spoken(s.Torque) + " to " + spoken(s.UpTo)
	case !s.Torque.IsZero() && !s.Also.IsZero():
		return spoken(s.Torque) + ", that's " + spoken(s.Also)
	case !s.Torque.IsZero():
		return spoken(s.Torque)
	case !s.Angle.IsZero():
		return spoken(s.Angle)
	case !s.Rolling.IsZero() && !s.RollingTo.IsZero():
		return "until the bearing rolls at " + spoken(s.Rolling) + " to " + spoken(s.RollingTo)
	case !s.Rolling.IsZero():
		return "until the bearing rolls at " + spoken(s.Rolling)
	case s.Slacken:
		return "slacken again"
	case !s.Wait.IsZero():
		return "wait " + spoken(s.Wait)
	case s.Seat == "hand":
		return "run down by hand"
	}
	return "to the stop"
}

// unitWords are the units as they are said.
var unitWords = map[string][2]string{
	"N.m": {"newton metre", "newton metres"}, "lbf.ft": {"foot pound", "foot pounds"}, "lbf.in": {"inch pound", "inch pounds"}, "deg": {"degree", "degrees"}, "turn": {"turn", "turns"},
	"mm": {"millimetre", "millimetres"}, "in": {"inch", "inches"}, "min": {"minute", "minutes"}, "s": {"second", "seconds"}, "h": {"hour", "hours"}, "L": {"litre", "litres"},
}

// spoken is a quantity in words: "two hundred and forty newton metres"; "" for none.
func spoken(q specdata.Quantity) string {
	if q.IsZero() {
		return ""
	}
	words, known := unitWords[q.Unit().Symbol]
	v, err := q.In(q.Unit())
	if err != nil || !known {
		return specdata.Display(q)
	}
	number := Words(v)
	if v.Cmp(big.NewRat(1, 1)) == 0 {
		return number + " " + words[0]
	}
	if q.Unit().Symbol == "turn" && v.Cmp(big.NewRat(1, 1)) < 0 {
		return strings.TrimSuffix(number, " of a") + " of a turn"
	}
	return number + " " + words[1]
}

var (
	ones = strings.Fields("nought one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens = strings.Fields("x ten twenty thirty forty fifty sixty seventy eighty ninety")
)

// Words returns a number as it is said: "two hundred and forty", "four point five".
func Words(v *big.Rat) string {
	switch v.RatString() {
	case "1/2":
		return "half"
	case "1/4":
		return "a quarter"
	case "3/4":
		return "three quarters"
	}
	text := v.FloatString(3)
	whole, places, _ := strings.Cut(strings.TrimRight(strings.TrimRight(text, "0"), "."), ".")
	n := 0
	if _, err := fmt.Sscan(whole, &n); err != nil || n < 0 || n > 9999 {
		return text
	}
	out := integer(n)
	if places != "" {
		out += " point"
		for _, d := range places {
			if d == '0' {
				out += " oh"
			} else {
				out += " " + ones[d-'0']
			}
		}
	}
	return out
}

func integer(n int) string {
	switch {
	case n < 20:
		return ones[n]
	case n < 100:
		out := tens[n/10]
		if n%10 > 0 {
			out += "-" + ones[n%10]
		}
		return out
	case n < 1000:
		out := ones[n/100] + " hundred"
		if n%100 > 0 {
			out += " and " + integer(n%100)
		}
		return out
	}
	out := integer(n/1000) + " thousand"
	if n%1000 > 0 {
		out += " " + integer(n%1000)
	}
	return out
}
