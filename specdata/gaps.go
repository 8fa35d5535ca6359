package specdata

import (
	"cmp"
	"slices"
	"strconv"
	"time"
)

// Comparable reports whether two ranges can be laid side by side: both well
// formed, and either one open at both ends or both of dates or both of
// production numbers.
func (b *Built) Comparable(o *Built) bool {
	x, err := b.span()
	if err != nil {
		return false
	}
	y, err := o.span()
	return err == nil && (x.numbers == y.numbers || b.Whole() || o.Whole())
}

// Meet returns the builds that lie in both ranges; nil stands for all builds. ok is
// false when there are none or the ranges cannot be compared.
func (b *Built) Meet(o *Built) (both *Built, ok bool) {
	if !b.Comparable(o) {
		return nil, false
	}
	switch {
	case b.Whole():
		return o, true
	case o.Whole():
		return b, true
	}
	x, _ := b.span()
	y, _ := o.span()
	m := span{low: max(x.low, y.low), high: min(x.high, y.high), numbers: x.numbers}
	if m.low > m.high {
		return nil, false
	}
	return m.built(), true
}

// Hull returns the range from the first build of any of the ranges to the last; nil
// stands for all builds. ok is false when there are no ranges or they cannot be compared.
func Hull(ranges []*Built) (hull *Built, ok bool) {
	var h span
	for i, b := range ranges {
		s, err := b.span()
		switch {
		case err != nil:
			return nil, false
		case b.Whole():
			return nil, true
		case i == 0:
			h = s
		case s.numbers != h.numbers:
			return nil, false
		default:
			h.low, h.high = min(h.low, s.low), max(h.high, s.high)
		}
	}
	if len(ranges) == 0 {
		return nil, false
	}
	return h.built(), true
}

// Holes lists, in order, the parts of within that none of the ranges covers. ok is
// false when they cannot be compared: a malformed range, or dates beside
// production numbers.
func Holes(within *Built, ranges []*Built) (holes []*Built, ok bool) {
	w, err := within.span()
	if err != nil {
		return nil, false
	}
	sorted, counted := !within.Whole(), w.numbers
	spans := make([]span, 0, len(ranges))
	for _, b := range ranges {
		s, err := b.span()
		if err != nil {
			return nil, false
		}
		if b.Whole() {
			return nil, true
		}
		if sorted && s.numbers != counted {
			return nil, false
		}
		sorted, counted = true, s.numbers
		spans = append(spans, s)
	}
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.low, b.low) })
	from := w.low
	for _, s := range spans {
		if s.low > from && from <= w.high {
			holes = append(holes, span{from, min(s.low-1, w.high), counted}.built())
		}
		from = max(from, s.high+1)
	}
	if from <= w.high {
		holes = append(holes, span{from, w.high, counted}.built())
	}
	return holes, true
}

// built writes the interval as a range. Dates are written in weeks where both ends
// fall on the bounds of weeks, because build splits are.
func (s span) built() *Built {
	var b Built
	if s.numbers {
		if s.low != openLow {
			b.From = "no " + strconv.FormatInt(s.low, 10)
		}
		if s.high != openHigh {
			b.To = "no " + strconv.FormatInt(s.high, 10)
		}
		return &b
	}
	low, high := dayOf(s.low), dayOf(s.high)
	weeks := (s.low == openLow || low.Weekday() == time.Monday) && (s.high == openHigh || high.Weekday() == time.Sunday)
	if s.low != openLow {
		b.From = point(low, weeks)
	}
	if s.high != openHigh {
		b.To = point(high, weeks)
	}
	return &b
}

func dayOf(n int64) time.Time { return time.Unix(n*86400, 0).UTC() }

func point(t time.Time, week bool) string {
	if !week {
		return t.Format(time.DateOnly)
	}
	y, w := t.ISOWeek()
	s := strconv.Itoa(w)
	if w < 10 {
		s = "0" + s
	}
	return strconv.Itoa(y) + "-W" + s
}
