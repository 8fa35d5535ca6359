package witness

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document"
)

// fact is a fact with the mistakes that are made in it.
type fact struct {
	Fact
	mistakes func(*specdata.Fastener) []mistake
}

// factsOf lists the facts of a fastener that decide how it is made.
func factsOf(f *specdata.Fastener) []fact {
	var out []fact
	add := func(at, name, value string, mistakes func(*specdata.Fastener) []mistake) {
		out = append(out, fact{Fact{At: at, Name: name, Value: value}, mistakes})
	}
	for i := range f.Tightening.Stages {
		s := &f.Tightening.Stages[i]
		at := specdata.At("/tightening/stages", i, "")
		if s.Torque.Sign() > 0 {
			add(at+"/torque", "torque", specdata.Display(s.Torque), func(f *specdata.Fastener) []mistake {
				return number(f, s.Torque, func(c *specdata.Fastener) *specdata.Quantity { return &c.Tightening.Stages[i].Torque })
			})
		}
		if s.Angle.Sign() > 0 {
			add(at+"/angle", "angle", specdata.Display(s.Angle), func(f *specdata.Fastener) []mistake {
				return number(f, s.Angle, func(c *specdata.Fastener) *specdata.Quantity { return &c.Tightening.Stages[i].Angle })
			})
		}
	}
	words := func(at, name, value string, others []string, set func(*specdata.Fastener, string)) {
		if value == "" {
			return
		}
		add(at, name, value, func(f *specdata.Fastener) []mistake {
			var ms []mistake
			for _, other := range others {
				if other == value {
					continue
				}
				if c := clone(f); c != nil {
					set(c, other)
					ms = append(ms, mistake{"read as " + other, c})
				}
			}
			return ms
		})
	}
	if t := f.Thread; t != nil {
		words("/thread/designation", "thread", t.Designation, threadsLike(t.Designation), func(c *specdata.Fastener, s string) { c.Thread.Designation = s })
		words("/thread/hand", "hand of the thread", t.Hand, []string{"right", "left"}, func(c *specdata.Fastener, s string) { c.Thread.Hand = s })
	}
	if s := f.Strength; s != nil && s.Bolt != "" {
		words("/strength/bolt", "class of the bolt", s.Bolt, beside([]string{"4.6", "5.8", "8.8", "9.8", "10.9", "12.9"}, s.Bolt), func(c *specdata.Fastener, v string) { c.Strength.Bolt = v })
	}
	if d := f.Drive; d != nil && strings.HasPrefix(d.Head, "hex ") && strings.HasSuffix(d.Head, " mm") {
		words("/drive/head", "hexagon", d.Head, beside(hexagons, d.Head), func(c *specdata.Fastener, v string) { c.Drive.Head = v })
	}
	if d := f.Drive; d != nil && strings.HasPrefix(d.Nut, "hex ") && strings.HasSuffix(d.Nut, " mm") {
		words("/drive/nut", "hexagon of the nut", d.Nut, beside(hexagons, d.Nut), func(c *specdata.Fastener, v string) { c.Drive.Nut = v })
	}
	if s := f.Surface; s != nil {
		words("/surface/condition", "surface", s.Condition, []string{"dry", "oiled", "threadlock", "precoated"}, func(c *specdata.Fastener, v string) { c.Surface.Condition = v })
	}
	words("/tightening/state", "state of the vehicle", string(f.Tightening.State), []string{"any", "on-ground", "ride-height", "droop", "cold"}, func(c *specdata.Fastener, v string) { c.Tightening.State = specdata.VehicleState(v) })
	words("/reuse/rule", "reuse", f.Reuse.Rule, []string{"reuse", "replace"}, func(c *specdata.Fastener, v string) { c.Reuse.Rule = v })
	words("/joint", "kind of joint", string(f.Joint), []string{"clamp", "wheel", "taper", "union", "plug"}, func(c *specdata.Fastener, v string) { c.Joint = specdata.JointKind(v) })
	return out
}

var hexagons = []string{"hex 8 mm", "hex 10 mm", "hex 13 mm", "hex 15 mm", "hex 16 mm", "hex 17 mm", "hex 18 mm", "hex 19 mm", "hex 21 mm", "hex 22 mm", "hex 24 mm", "hex 27 mm", "hex 30 mm", "hex 32 mm", "hex 36 mm"}

// beside returns the neighbours of a value in a list, which is what a row or a
// glance away gives.
func beside(list []string, value string) []string {
	i := slices.Index(list, value)
	if i < 0 {
		return nil
	}
	return append(slices.Clone(list[max(0, i-1):i]), list[i+1:min(len(list), i+2)]...)
}

// threadsLike returns threads that are read for a metric one: the other pitch, the
// size beside it, a 1 for a 7.
func threadsLike(designation string) []string {
	pitches := map[string][]string{
		"M6": {"1"}, "M8": {"1.25", "1"}, "M10": {"1.5", "1.25", "1"}, "M12": {"1.75", "1.5", "1.25"}, "M14": {"2", "1.5"},
		"M16": {"2", "1.5"}, "M18": {"2.5", "1.5"}, "M20": {"2.5", "1.5"}, "M22": {"2.5", "1.5"}, "M24": {"3", "2", "1.5"},
	}
	size, pitch, ok := strings.Cut(designation, "x")
	if !ok || pitches[size] == nil {
		return nil
	}
	var out []string
	for _, p := range pitches[size] {
		if p != pitch {
			out = append(out, size+"x"+p)
		}
	}
	for _, s := range beside([]string{"M6", "M8", "M10", "M12", "M14", "M16", "M18", "M20", "M22", "M24"}, size) {
		p := pitches[s][0]
		if slices.Contains(pitches[s], pitch) {
			p = pitch
		}
		out = append(out, s+"x"+p)
	}
	return out
}

// number returns a quantity misread: by the factors of units and points, with digits
// swapped, with one digit taken for another. Each occurs twice: typed wrong beside a
// right quote, and read wrong, so that the quote says the same.
func number(f *specdata.Fastener, q specdata.Quantity, field func(*specdata.Fastener) *specdata.Quantity) []mistake {
	var ms []mistake
	num, unit := q.Number(), strings.TrimPrefix(q.String(), q.Number())
	add := func(what, wrong string) {
		value, err := specdata.ParseQuantity(wrong + unit)
		if wrong == num || err != nil {
			return
		}
		for _, read := range []bool{false, true} {
			c := clone(f)
			if c == nil {
				return
			}
			*field(c) = value
			how := "typed as "
			if read {
				how = "read as "
				if c.Source == nil || !strings.Contains(c.Source.Quote, num) {
					continue
				}
				c.Source.Quote = strings.Replace(c.Source.Quote, num, wrong, 1)
			}
			ms = append(ms, mistake{how + specdata.Display(value) + " (" + what + ")", c})
		}
	}
	x, err := strconv.ParseFloat(num, 64)
	if err != nil {
		return nil
	}
	factors := []struct {
		by   float64
		what string
	}{{12, "times 12"}, {1. / 12, "by 12"}, {10, "point lost"}, {.1, "point moved"}, {1.3558, "times 1.356"}, {1 / 1.3558, "by 1.356"}}
	if q.Dimension() != specdata.Torque {
		factors = factors[2:4]
	}
	for _, k := range factors {
		digits := 0
		if x*k.by < 20 {
			digits = 1
		}
		add(k.what, strconv.FormatFloat(x*k.by, 'f', digits, 64))
	}
	for i := 0; i+1 < len(num); i++ {
		if b := []byte(num); b[i] != b[i+1] && b[i] != '.' && b[i+1] != '.' && (i > 0 || b[1] != '0') {
			b[i], b[i+1] = b[i+1], b[i]
			add("digits swapped", string(b))
		}
	}
	if first := alike[num[0]]; first != "" {
		for _, d := range first {
			add(fmt.Sprintf("%c for %c", d, num[0]), string(d)+num[1:])
		}
	}
	return ms
}

// alike lists first digits that are taken for each other. Common practice, no source.
var alike = map[byte]string{'1': "7", '2': "7", '3': "8", '4': "9", '5': "6", '6': "8", '7': "1", '8': "3", '9': "4"}

// clone returns a copy of a fastener, nil where its document cannot be read back.
func clone(f *specdata.Fastener) *specdata.Fastener {
	text, err := document.Canonical(f)
	if err != nil {
		return nil
	}
	doc, err := document.ReadCanonical(text)
	if err != nil {
		return nil
	}
	return doc.Record.(*specdata.Fastener)
}
