package specdata

import (
	"fmt"
	"math"
	"math/big"
	"regexp"
	"strings"
)

// Quantity is a number with its unit as a document prints it ("177 lbf.ft",
// "9/16 in"). The printed digits are kept, because how a source rounds says how
// far its number can be trusted; conversion is exact.
//
// The zero Quantity is absent.
type Quantity struct {
	number string
	unit   Unit
	value  *big.Rat // in unit
	si     float64  // cached SI() so that linting a large library does no big arithmetic
}

// quantityForm admits plain decimals and, for inch sizes, vulgar fractions.
// Leading zeros, signs on zero, exponents and thousands marks are refused: each
// has more than one reading.
var quantityForm = regexp.MustCompile(`^(-?(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,9})?|(?:[1-9][0-9]?-)?[1-9][0-9]{0,2}/[1-9][0-9]{0,2}) ([^ ].*)$`)

// ParseQuantity reads one quantity in its only document form: the number, one
// space, the unit. The error says what was found, what is allowed and, where a
// safe guess exists, the nearest right spelling.
func ParseQuantity(s string) (Quantity, error) {
	m := quantityForm.FindStringSubmatch(s)
	if m == nil {
		return Quantity{}, fmt.Errorf("quantity %q is not a number, one space and a unit; write it like \"240 N.m\" or \"9/16 in\"%s", clip(s), suggestQuantity(s))
	}
	unit, ok := LookupUnit(m[2])
	if !ok {
		hint := ""
		if near := NearestUnit(m[2]); near != "" {
			hint = fmt.Sprintf("; did you mean %q?", m[1]+" "+near)
		}
		return Quantity{}, fmt.Errorf("unit %q is unknown; allowed: %s%s", clip(m[2]), unitList(), hint)
	}
	if strings.Contains(m[1], "/") && unit.Dimension != Length && unit.Dimension != Angle {
		return Quantity{}, fmt.Errorf("quantity %q writes a fraction of %s; fractions are for inch sizes and turns, write a decimal", clip(s), unit.Symbol)
	}
	v, err := parseNumber(m[1])
	if err != nil {
		return Quantity{}, fmt.Errorf("quantity %q: %w", clip(s), err)
	}
	if m[1] == "-0" || (v.Sign() == 0 && strings.HasPrefix(m[1], "-")) {
		return Quantity{}, fmt.Errorf("quantity %q is a negative zero; write 0", clip(s))
	}
	q := Quantity{number: m[1], unit: unit, value: v}
	q.si = q.computeSI()
	return q, nil
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

func suggestQuantity(s string) string {
	i := strings.IndexFunc(s, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != '/' && r != '-' })
	if i <= 0 {
		if i < 0 && s != "" {
			return "; the unit is missing and is never guessed"
		}
		return ""
	}
	if near := NearestUnit(s[i:]); near != "" {
		if q, err := ParseQuantity(s[:i] + " " + near); err == nil {
			return fmt.Sprintf("; did you mean %q?", q.String())
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

func clip(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}

// IsZero reports whether the quantity is absent (not whether its number is 0).
func (q Quantity) IsZero() bool { return q.value == nil }

// String gives the document form.
func (q Quantity) String() string {
	if q.IsZero() {
		return ""
	}
	return q.number + " " + q.unit.Symbol
}

// Number gives the digits as printed.
func (q Quantity) Number() string { return q.number }

// Unit gives the unit as printed.
func (q Quantity) Unit() Unit { return q.unit }

// Dimension gives what the quantity measures.
func (q Quantity) Dimension() Dimension { return q.unit.Dimension }

// SI gives the value in the SI unit of its dimension: N·m, m, rad, N, Pa, m³,
// 1, s, kg. An absent quantity gives NaN, so that a forgotten check shows.
func (q Quantity) SI() float64 {
	if q.IsZero() {
		return math.NaN()
	}
	return q.si
}

func (q Quantity) computeSI() float64 {
	f, _ := new(big.Rat).Mul(q.value, q.unit.SI).Float64()
	if q.unit.Dimension == Angle {
		return f * math.Pi / 180
	}
	return f
}

// Sign is -1, 0 or 1 with the sign of the value.
func (q Quantity) Sign() int {
	if q.IsZero() {
		return 0
	}
	return q.value.Sign()
}

// In gives the exact value in another unit of the same dimension. The error
// names both units when the dimensions differ.
func (q Quantity) In(u Unit) (*big.Rat, error) {
	if q.IsZero() {
		return nil, fmt.Errorf("an absent quantity has no value in %s", u.Symbol)
	}
	if q.unit.Dimension != u.Dimension {
		return nil, fmt.Errorf("%s is a %s and cannot be given in %s, a unit of %s", q, q.unit.Dimension, u.Symbol, u.Dimension)
	}
	r := new(big.Rat).Mul(q.value, q.unit.SI)
	return r.Quo(r, u.SI), nil
}

// Float gives the value in the named unit, for arithmetic and display. It is
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

// Interval gives the exact bounds, in the printed unit, of the values that round
// to the printed digits: half of the last printed place either side. A vulgar
// fraction is taken as exact.
func (q Quantity) Interval() (low, high *big.Rat) {
	if strings.Contains(q.number, "/") {
		return q.value, q.value
	}
	places := 0
	if i := strings.IndexByte(q.number, '.'); i >= 0 {
		places = len(q.number) - i - 1
	}
	half := new(big.Rat).SetFrac(big.NewInt(5), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places+1)), nil))
	return new(big.Rat).Sub(q.value, half), new(big.Rat).Add(q.value, half)
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
	return q.number == o.number && q.unit.Symbol == o.unit.Symbol
}
