package slip

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// A number slips in two ways. By hand: the torque is typed wrong, the pair and the
// quote beside it stay right. Whole: the page is misread, or the wrong row taken,
// and everything that is written down agrees with itself.

type slipped struct {
	name, words string
	number      func(*maker, specdata.Quantity) (specdata.Quantity, bool)
}

// The factors are those of records-and-slips section D.
var numbers = []slipped{
	{"times-12", "inch pounds taken for foot pounds", factor(12)},
	{"by-12", "foot pounds taken for inch pounds", factor(1.0 / 12)},
	{"times-1.356", "converted to N·m though it was N·m", factor(1.355818)},
	{"by-1.356", "foot pounds typed in the N·m box", factor(1 / 1.355818)},
	{"times-1.84", "converted twice", factor(1.838242)},
	{"by-1.84", "converted twice the other way", factor(1 / 1.838242)},
	{"times-9.81", "kilogram-force metres multiplied in once too often", factor(9.80665)},
	{"by-9.81", "kilogram-force metres taken for N·m", factor(1 / 9.80665)},
	{"times-10", "a digit doubled or a point lost", factor(10)},
	{"by-10", "a digit or a nought lost", factor(0.1)},
	{"digits-swapped", "two digits changed places", digits(swapDigits)},
	{"digit-lost", "one digit left out", digits(loseDigit)},
	{"digit-doubled", "one digit typed twice", digits(doubleDigit)},
	{"digit-misread", "one digit read as a look-alike", digits(misreadDigit)},
	{"comma-as-thousands", "a decimal comma read as thousands", digits(commaAsThousands)},
	{"unit-relabelled", "the other unit written behind the number", relabel},
}

func values() []Kind {
	var byHand, whole []Kind
	for _, n := range numbers {
		byHand = append(byHand,
			Kind{Name: n.name, Group: "value", Of: specdata.KindFastener, fastener: func(m *maker, f *specdata.Fastener) string {
				stages := torques(f)
				if len(stages) == 0 {
					return ""
				}
				i := pick(m, stages)
				old := f.Tightening.Stages[i].Torque
				q, ok := n.number(m, old)
				if !ok {
					return ""
				}
				f.Tightening.Stages[i].Torque = q
				return fmt.Sprintf("%s: %s becomes %s", n.words, old, q)
			}})
		whole = append(whole,
			Kind{Name: n.name + "-whole", Group: "whole", Of: specdata.KindFastener, fastener: func(m *maker, f *specdata.Fastener) string {
				stages := torques(f)
				if len(stages) == 0 {
					return ""
				}
				one := pick(m, stages)
				old := f.Tightening.Stages[one].Torque
				for _, i := range stages {
					// Units and factors are misread for the whole row, a digit in one place.
					if i != one && strings.Contains(n.name, "digit") {
						continue
					}
					q, ok := n.number(m, f.Tightening.Stages[i].Torque)
					if !ok {
						return ""
					}
					f.Tightening.Stages[i].Torque = q
					if up := f.Tightening.Stages[i].UpTo; !up.IsZero() {
						if q, ok := n.number(m, up); ok {
							f.Tightening.Stages[i].UpTo = q
						}
					}
				}
				agree(f)
				return fmt.Sprintf("%s, in the whole entry: %s becomes %s", n.words, old, f.Tightening.Stages[one].Torque)
			}})
	}
	byHand = append(byHand,
		Kind{Name: "neighbour-row", Group: "value", Of: specdata.KindFastener, fastener: func(m *maker, f *specdata.Fastener) string { return neighbour(m, f, false) }})
	whole = append(whole,
		Kind{Name: "neighbour-row-whole", Group: "whole", Of: specdata.KindFastener, fastener: func(m *maker, f *specdata.Fastener) string { return neighbour(m, f, true) }})
	return append(byHand, whole...)
}

// torques lists the stages with a torque above nought.
func torques(f *specdata.Fastener) []int {
	var is []int
	for i := range f.Tightening.Stages {
		if f.Tightening.Stages[i].Torque.Sign() > 0 {
			is = append(is, i)
		}
	}
	return is
}

func factor(by float64) func(*maker, specdata.Quantity) (specdata.Quantity, bool) {
	return func(_ *maker, q specdata.Quantity) (specdata.Quantity, bool) {
		n, err := strconv.ParseFloat(q.Number(), 64)
		if err != nil {
			return q, false
		}
		return quantity(n*by, q.Unit().Symbol)
	}
}

// quantity rounds as people write: whole from 20, halves from 10, tenths below.
func quantity(n float64, unit string) (specdata.Quantity, bool) {
	switch {
	case n >= 20:
		n = math.Round(n)
	case n >= 10:
		n = math.Round(2*n) / 2
	default:
		n = math.Round(10*n) / 10
	}
	q, err := specdata.ParseQuantity(strconv.FormatFloat(n, 'f', -1, 64) + " " + unit)
	return q, err == nil && n > 0
}

func digits(change func(*maker, string) string) func(*maker, specdata.Quantity) (specdata.Quantity, bool) {
	return func(m *maker, q specdata.Quantity) (specdata.Quantity, bool) {
		s := change(m, q.Number())
		n, err := specdata.ParseQuantity(s + " " + q.Unit().Symbol)
		return n, err == nil && s != q.Number() && n.Sign() > 0
	}
}

func swapDigits(m *maker, s string) string {
	if len(s) < 2 || strings.Contains(s, ".") && len(s) < 4 {
		return s
	}
	i := m.rng.IntN(len(s) - 1)
	b := []byte(s)
	if b[i] == '.' || b[i+1] == '.' || i == 0 && b[1] == '0' {
		return s
	}
	b[i], b[i+1] = b[i+1], b[i]
	return string(b)
}

func loseDigit(m *maker, s string) string {
	if strings.Contains(s, ".") || len(s) < 2 {
		return s
	}
	i := m.rng.IntN(len(s))
	return strings.TrimLeft(s[:i]+s[i+1:], "0")
}

func doubleDigit(m *maker, s string) string {
	if strings.Contains(s, ".") {
		return s
	}
	i := m.rng.IntN(len(s))
	return s[:i+1] + s[i:]
}

// misreadDigit takes a digit for one that looks like it (1 and 7, 3 and 8, 5 and 6, 0 and 8).
func misreadDigit(m *maker, s string) string {
	like := map[byte]byte{'1': '7', '7': '1', '3': '8', '8': '3', '5': '6', '6': '5', '0': '8'}
	i := m.rng.IntN(len(s))
	to, ok := like[s[i]]
	if !ok {
		return s
	}
	return s[:i] + string(to) + s[i+1:]
}

func commaAsThousands(_ *maker, s string) string {
	whole, frac, ok := strings.Cut(s, ".")
	if !ok {
		return s
	}
	return strings.TrimLeft(whole+frac, "0")
}

func relabel(_ *maker, q specdata.Quantity) (specdata.Quantity, bool) {
	other := map[string]string{"N.m": "lbf.ft", "lbf.ft": "N.m", "lbf.in": "lbf.ft", "kgf.m": "N.m", "kgf.cm": "kgf.m"}[q.Unit().Symbol]
	n, err := specdata.ParseQuantity(q.Number() + " " + other)
	return n, err == nil && other != ""
}

// agree makes pairs and quote agree with the torques, as a misread row would.
func agree(f *specdata.Fastener) {
	t := f.Tightening
	var parts []string
	for i := range t.Stages {
		s := &t.Stages[i]
		switch {
		case !s.Torque.IsZero():
			part := s.Torque.String()
			if !s.Also.IsZero() {
				if q, ok := quantity(s.Torque.Float(s.Also.Unit().Symbol), s.Also.Unit().Symbol); ok {
					s.Also = q
				}
				part += " (" + s.Also.String() + ")"
			}
			if !s.UpTo.IsZero() {
				part += " to " + s.UpTo.String()
			}
			parts = append(parts, part)
		case !s.Angle.IsZero():
			parts = append(parts, s.Angle.String())
		case s.Slacken:
			parts = append(parts, "slacken")
		case !s.Wait.IsZero():
			parts = append(parts, "wait "+s.Wait.String())
		}
	}
	if f.Source != nil && f.Source.Quote != "" && len(parts) > 0 {
		f.Source.Quote = strings.Join(parts, "; ")
	}
}

// neighbour takes the value of another fastener of the same document.
func neighbour(m *maker, f *specdata.Fastener, whole bool) string {
	if f.Source == nil || len(torques(f)) == 0 {
		return ""
	}
	var rows []*specdata.Fastener
	for e := range m.library.All(specdata.KindFastener) {
		o := e.Record.(*specdata.Fastener)
		if o.ID != f.ID && o.Source != nil && o.Source.Document == f.Source.Document && len(torques(o)) > 0 {
			rows = append(rows, o)
		}
	}
	if len(rows) == 0 {
		return ""
	}
	o := pick(m, rows)
	was, to := f.Tightening.Stages[torques(f)[0]].Torque, o.Tightening.Stages[torques(o)[0]].Torque
	if was.Agree(to) {
		return ""
	}
	if !whole {
		f.Tightening.Stages[torques(f)[0]].Torque = to
		return fmt.Sprintf("value of %s instead: %s becomes %s", o.ID, was, to)
	}
	f.Tightening.Stages = slices.Clone(o.Tightening.Stages)
	f.Tightening.Tolerance, f.Tightening.AngleTolerance = o.Tightening.Tolerance, o.Tightening.AngleTolerance
	f.Source.Quote, f.Source.At = o.Source.Quote, o.Source.At
	return fmt.Sprintf("row of %s instead, quote and all: %s becomes %s", o.ID, was, to)
}
