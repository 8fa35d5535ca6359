package specdata

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"math/bits"
	"strings"
	"unicode/utf8"
)

// Quantity is a number with its unit as a document prints it ("177 lbf.ft",
// "9/16 in"). The printed digits are kept, because how a source rounds says how
// far its number can be trusted; conversion is exact.
//
// The zero Quantity is absent.
type Quantity struct {
	number string
	unit   *Unit   // one of Units, nil for an absent quantity; records hold many quantities
	si     float64 // cached SI() so that linting a large library does no big arithmetic
}

// scale returns the unit, the zero Unit for an absent quantity.
func (q Quantity) scale() *Unit {
	if q.unit == nil {
		return &noUnit
	}
	return q.unit
}

var noUnit Unit

// maxDigits bounds the digits on either side of the point: a document holds no
// number of a fastening with more, and nine and nine fit an int64.
const maxDigits = 9

// ParseQuantity reads one quantity in its only document form: the number, one
// space, the unit. Numbers are plain decimals and, for inch sizes and turns, vulgar
// fractions. Leading zeros, negative zeros, exponents and thousands marks are
// refused: each has more than one reading. The error says what was found, what is
// allowed and, where a safe guess exists, the nearest right spelling.
func ParseQuantity(s string) (Quantity, error) {
	number, symbol, ok := splitQuantity(s)
	if !ok {
		return Quantity{}, fmt.Errorf("quantity %q is not a number, one space and a unit; write it like \"240 N.m\" or \"9/16 in\"%s", Shorten(s), suggestQuantity(s))
	}
	unit, ok := unitBySymbol[symbol]
	if !ok {
		hint := ""
		if near := NearestUnit(symbol); near != "" {
			hint = fmt.Sprintf(" (did you mean %q?)", number+" "+near)
		}
		return Quantity{}, fmt.Errorf("unit %q is unknown; allowed: %s%s", Shorten(symbol), unitList(), hint)
	}
	if strings.Contains(number, "/") && unit.Dimension != Length && unit.Dimension != Angle {
		return Quantity{}, fmt.Errorf("quantity %q writes a fraction of %s; fractions are for inch sizes and turns, write a decimal", Shorten(s), unit.Symbol)
	}
	if number[0] == '-' && strings.Trim(number, "-0.") == "" {
		return Quantity{}, fmt.Errorf("quantity %q is a negative zero; write 0", Shorten(s))
	}
	q := Quantity{number: number, unit: unit}
	q.si = q.computeSI()
	return q, nil
}

// splitQuantity takes a quantity apart; ok is false when it does not have the form.
func splitQuantity(s string) (number, unit string, ok bool) {
	i := strings.IndexByte(s, ' ')
	if i < 0 || i+1 >= len(s) || s[i+1] == ' ' || strings.IndexByte(s, '\n') >= 0 {
		return "", "", false
	}
	number, unit = s[:i], s[i+1:]
	return number, unit, isDecimal(number) || isVulgar(number)
}

// isDecimal reports whether s is "-"? digits ("." digits)? without leading zeros.
func isDecimal(s string) bool {
	s = strings.TrimPrefix(s, "-")
	whole, places, pointed := strings.Cut(s, ".")
	return isDigits(whole, maxDigits) && (whole == "0" || whole[0] != '0') && (!pointed || isDigits(places, maxDigits))
}

// isVulgar reports whether s is "9/16" or "1-1/4", without leading zeros.
func isVulgar(s string) bool {
	if whole, rest, ok := strings.Cut(s, "-"); ok {
		if !isDigits(whole, 2) || whole[0] == '0' {
			return false
		}
		s = rest
	}
	over, under, ok := strings.Cut(s, "/")
	return ok && isDigits(over, 3) && over[0] != '0' && isDigits(under, 3) && under[0] != '0'
}

// isDigits reports whether s is one to most digits.
func isDigits(s string, most int) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != "" && len(s) <= most
}

// MustQuantity is ParseQuantity for constants in code and tests.
func MustQuantity(s string) Quantity {
	q, err := ParseQuantity(s)
	if err != nil {
		panic(err)
	}
	return q
}

func parseNumber(s string) (*big.Rat, error) {
	whole := ""
	if i := strings.IndexByte(s, '-'); i > 0 { // "1-1/4": one and a quarter
		whole, s = s[:i], s[i+1:]
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return nil, fmt.Errorf("number %q cannot be read", s)
	}
	if whole != "" {
		w, _ := new(big.Rat).SetString(whole)
		r.Add(r, w)
	}
	return r, nil
}

// suggestQuantity ends a message with what s was probably meant to be, where that is safe to say.
func suggestQuantity(s string) string {
	i := strings.IndexFunc(s, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != '/' && r != '-' })
	if i < 0 && s != "" {
		return "; the unit is missing and is never guessed"
	}
	if i > 0 && (isDecimal(s[:i]) || isVulgar(s[:i])) {
		if near := NearestUnit(s[i:]); near != "" {
			return fmt.Sprintf(" (did you mean %q?)", s[:i]+" "+near)
		}
	}
	return ""
}

func unitList() string {
	names := make([]string, len(Units))
	for i, u := range Units {
		names[i] = u.Symbol
	}
	return strings.Join(names, ", ")
}

// Shorten cuts a value for a message, at a character, to about sixty bytes.
func Shorten(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	end := most
	for end > 0 && !utf8.RuneStart(s[end]) {
		end--
	}
	return s[:end] + "…"
}

// IsZero reports whether the quantity is absent (not whether its number is 0).
func (q Quantity) IsZero() bool { return q.number == "" }

// String returns the document form.
func (q Quantity) String() string {
	if q.IsZero() {
		return ""
	}
	return q.number + " " + q.scale().Symbol
}

// Number returns the digits as printed.
func (q Quantity) Number() string { return q.number }

// Unit returns the unit as printed.
func (q Quantity) Unit() Unit { return *q.scale() }

// Dimension returns what the quantity measures.
func (q Quantity) Dimension() Dimension { return q.scale().Dimension }

// SI returns the value in the SI unit of its dimension: N·m, m, rad, N, Pa, m³,
// 1, s, kg. An absent quantity gives NaN, so that a forgotten check shows.
func (q Quantity) SI() float64 {
	if q.IsZero() {
		return math.NaN()
	}
	return q.si
}

func (q Quantity) computeSI() float64 {
	f, ok := q.exactSI()
	if !ok {
		f, _ = new(big.Rat).Mul(q.value(), q.scale().SI).Float64()
	}
	if q.scale().Dimension == Angle {
		return f * math.Pi / 180
	}
	return f
}

// exactSI computes value times factor as one division of two integers, rounded once
// as IEEE 754 rounds; ok is false when they are too large or the number is a fraction.
func (q Quantity) exactSI() (f float64, ok bool) {
	over, under, ok := q.decimal()
	num, den := q.scale().SI.Num(), q.scale().SI.Denom()
	if !ok || !num.IsInt64() || !den.IsInt64() || den.Int64() > math.MaxInt64/under {
		return 0, false
	}
	f = divide(uint64(abs(over)), uint64(num.Int64()), uint64(den.Int64()*under))
	if over < 0 {
		f = -f
	}
	return f, true
}

// divide returns a·b/c to the nearest double, ties to even. The product has 127 bits at
// most, c is not 0.
func divide(a, b, c uint64) float64 {
	high, low := bits.Mul64(a, b)
	if high|low == 0 {
		return 0
	}
	// The dividend is shifted to have 127 bits and the divisor 64, so that the quotient
	// has 63 or 64, ten more than a double. A remainder counts as half of the last.
	up := bits.LeadingZeros64(high) - 1
	if high == 0 {
		up = 63 + bits.LeadingZeros64(low)
	}
	if up < 64 {
		high, low = high<<up|low>>(64-up), low<<up
	} else {
		high, low = low<<(up-64), 0
	}
	side := bits.LeadingZeros64(c)
	quotient, rest := bits.Div64(high, low, c<<side)
	if rest != 0 {
		quotient |= 1
	}
	return math.Ldexp(float64(quotient), side-up)
}

func abs(n int64) int64 { return max(n, -n) }

// decimal returns the number as a ratio, a power of ten under it; ok is false for a fraction.
func (q Quantity) decimal() (over, under int64, ok bool) {
	under = 1
	point := false
	for i := range len(q.number) {
		switch c := q.number[i]; {
		case c == '.':
			point = true
		case c < '0' || c > '9':
			if i > 0 || c != '-' {
				return 0, 1, false
			}
		default:
			over = over*10 + int64(c-'0')
			if point {
				under *= 10
			}
		}
	}
	if q.number != "" && q.number[0] == '-' {
		over = -over
	}
	return over, under, true
}

// value returns the exact number in the printed unit, nil for an absent quantity.
func (q Quantity) value() *big.Rat {
	if q.IsZero() {
		return nil
	}
	if over, under, ok := q.decimal(); ok {
		return big.NewRat(over, under)
	}
	v, err := parseNumber(q.number)
	if err != nil {
		return nil
	}
	return v
}

// Sign is -1, 0 or 1 with the sign of the value.
func (q Quantity) Sign() int {
	return cmp.Compare(q.si, 0)
}

// In returns the exact value in another unit of the same dimension. The error
// names both units when the dimensions differ.
func (q Quantity) In(u Unit) (*big.Rat, error) {
	if q.IsZero() {
		return nil, fmt.Errorf("an absent quantity has no value in %s", u.Symbol)
	}
	if q.scale().Dimension != u.Dimension {
		return nil, fmt.Errorf("%s is a %s and cannot be given in %s, a unit of %s", q, q.scale().Dimension, u.Symbol, u.Dimension)
	}
	if q.scale().SI == u.SI {
		return q.value(), nil
	}
	r := new(big.Rat).Mul(q.value(), q.scale().SI)
	return r.Quo(r, u.SI), nil
}

// Float returns the value in the named unit, for arithmetic and display. It is
// NaN when the quantity is absent or measures something else.
func (q Quantity) Float(symbol string) float64 {
	u, ok := LookupUnit(symbol)
	if !ok {
		return math.NaN()
	}
	r, err := q.In(u)
	if err != nil {
		return math.NaN()
	}
	f, _ := r.Float64()
	return f
}

// Interval returns the exact bounds, in the printed unit, of the values that round
// to the printed digits: half of the last printed place either side. A vulgar
// fraction is taken as exact.
func (q Quantity) Interval() (low, high *big.Rat) {
	value := q.value()
	if strings.Contains(q.number, "/") {
		return value, value
	}
	places := 0
	if i := strings.IndexByte(q.number, '.'); i >= 0 {
		places = len(q.number) - i - 1
	}
	half := new(big.Rat).SetFrac(big.NewInt(5), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places+1)), nil))
	return new(big.Rat).Sub(value, half), new(big.Rat).Add(value, half)
}

// MarshalText writes the document form.
func (q Quantity) MarshalText() ([]byte, error) { return []byte(q.String()), nil }

// UnmarshalText reads the document form; see ParseQuantity for the errors.
func (q *Quantity) UnmarshalText(b []byte) error {
	p, err := ParseQuantity(string(b))
	if err != nil {
		return err
	}
	*q = p
	return nil
}

// Equal reports whether both were printed alike.
func (q Quantity) Equal(o Quantity) bool {
	return q.number == o.number && q.scale().Symbol == o.scale().Symbol
}
