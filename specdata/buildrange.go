package specdata

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Date is a calendar day, "2006-01-02" (ISO 8601). The zero Date is absent.
type Date string

// Time returns the start of the day in UTC. The error says what was found and the form wanted.
func (d Date) Time() (time.Time, error) {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return time.Time{}, fmt.Errorf("date %q is not a calendar day; write it like 2026-09-14", Shorten(string(d)))
	}
	return t, nil
}

// IssueDate is when a document was issued, as far as it says so: a day "2006-01-02", a
// month "2006-01" or a year "2006" (ISO 8601).
type IssueDate string

// Span returns the first and the last day that the date may mean, in UTC; they are one
// for a day. The error says what was found and the forms wanted.
func (d IssueDate) Span() (first, last time.Time, err error) {
	for _, form := range []struct {
		layout            string
		years, months, up int
	}{{time.DateOnly, 0, 0, 0}, {"2006-01", 0, 1, -1}, {"2006", 1, 0, -1}} {
		if first, err = time.Parse(form.layout, string(d)); err == nil {
			return first, first.AddDate(form.years, form.months, form.up), nil
		}
	}
	return time.Time{}, time.Time{}, fmt.Errorf("date of issue %q is neither a day, a month nor a year; write it like 2026-09-14, 2026-09 or 2026, as the document prints it", Shorten(string(d)))
}

// Built is a build range. Both ends are included, always; an absent end is open.
// An end is a day ("2019-06-30"), an ISO 8601 week ("2019-W26") or a production
// number ("no 120001"); the two ends are of one sort, where a day and a week
// count as one.
type Built struct {
	From string `json:"from,omitempty"`
	To   string `json:"to,omitempty"`
}

// span is a closed interval: days since 1970 or production numbers.
type span struct {
	low, high int64
	numbers   bool
}

const (
	openLow  = -1 << 62
	openHigh = 1 << 62
)

var (
	dayForm    = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)
	weekForm   = regexp.MustCompile(`^(\d{4})-W(\d{2})$`)
	numberForm = regexp.MustCompile(`^no ([1-9]\d{0,11})$`)
)

// parsePoint returns the first and the last unit that a point covers: a week covers seven days.
func parsePoint(s string) (low, high int64, numbers bool, err error) {
	if m := numberForm.FindStringSubmatch(s); m != nil {
		n, _ := strconv.ParseInt(m[1], 10, 64)
		return n, n, true, nil
	}
	if m := weekForm.FindStringSubmatch(s); m != nil {
		year, _ := strconv.Atoi(m[1])
		week, _ := strconv.Atoi(m[2])
		// ISO 8601: week 1 is the week of 4 January; weeks start on Monday.
		jan4 := time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC)
		monday := jan4.AddDate(0, 0, -(int(jan4.Weekday())+6)%7+7*(week-1))
		if y, w := monday.ISOWeek(); y != year || w != week {
			return 0, 0, false, fmt.Errorf("build point %q names a week that year %d does not have; allowed: W01 to its last", s, year)
		}
		d := monday.Unix() / 86400
		return d, d + 6, false, nil
	}
	if dayForm.MatchString(s) {
		t, err := time.Parse(time.DateOnly, s)
		if err != nil {
			return 0, 0, false, fmt.Errorf("build point %q is not a calendar day", s)
		}
		d := t.Unix() / 86400
		return d, d, false, nil
	}
	return 0, 0, false, fmt.Errorf("build point %q is not a day, a week or a production number; write 2019-06-30, 2019-W26 or \"no 120001\"", Shorten(s))
}

func (b *Built) span() (span, error) {
	s := span{low: openLow, high: openHigh}
	if b == nil {
		return s, nil
	}
	sorted := false
	if b.From != "" {
		low, _, numbers, err := parsePoint(b.From)
		if err != nil {
			return s, err
		}
		s.low, s.numbers, sorted = low, numbers, true
	}
	if b.To != "" {
		_, high, numbers, err := parsePoint(b.To)
		if err != nil {
			return s, err
		}
		if sorted && numbers != s.numbers {
			return s, fmt.Errorf("build range %s to %s mixes dates and production numbers; give both ends in one", b.From, b.To)
		}
		s.high, s.numbers = high, numbers
	}
	if s.low > s.high {
		return s, fmt.Errorf("build range %s to %s ends before it begins; swap the ends", b.From, b.To)
	}
	return s, nil
}

// Check says what is wrong with the range, or nil.
func (b *Built) Check() error {
	_, err := b.span()
	return err
}

// Whole reports whether the range is open at both ends.
func (b *Built) Whole() bool { return b == nil || b.From == "" && b.To == "" }

// String returns the range in words ("up to 2019-W26").
func (b *Built) String() string {
	switch {
	case b.Whole():
		return "all builds"
	case b.From == "":
		return "up to " + b.To
	case b.To == "":
		return "from " + b.From
	case b.From == b.To:
		return b.From
	}
	return b.From + " to " + b.To
}

// Overlaps reports whether some build lies in both ranges. A range of dates and
// one of production numbers cannot be told apart and count as overlapping, so
// that a question is asked rather than an answer guessed. Malformed ranges overlap nothing.
func (b *Built) Overlaps(o *Built) bool {
	x, err := b.span()
	if err != nil {
		return false
	}
	y, err := o.span()
	if err != nil {
		return false
	}
	if x.numbers != y.numbers && !b.Whole() && !o.Whole() {
		return true
	}
	return x.low <= y.high && y.low <= x.high
}

// Within reports whether every build of b lies in o.
func (b *Built) Within(o *Built) bool {
	x, err := b.span()
	if err != nil {
		return false
	}
	y, err := o.span()
	if err != nil {
		return false
	}
	if o.Whole() {
		return true
	}
	if b.Whole() || x.numbers != y.numbers {
		return false
	}
	return y.low <= x.low && x.high <= y.high
}

// Gap returns the number of days or production numbers between the end of b and
// the start of o when o comes later: 0 when they meet, negative when they
// overlap. ok is false when the two cannot be compared.
func (b *Built) Gap(o *Built) (n int64, ok bool) {
	x, err := b.span()
	if err != nil {
		return 0, false
	}
	y, err := o.span()
	if err != nil || x.numbers != y.numbers || x.high == openHigh || y.low == openLow {
		return 0, false
	}
	return y.low - x.high - 1, true
}
