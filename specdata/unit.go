package specdata

import (
	"math/big"
	"strings"
)

// Dimension is what a unit measures. Two units of one dimension convert exactly.
type Dimension string

// The dimensions a document may use.
const (
	Torque   Dimension = "torque"
	Length   Dimension = "length"
	Angle    Dimension = "angle"
	Force    Dimension = "force"
	Pressure Dimension = "pressure"
	Volume   Dimension = "volume"
	Fraction Dimension = "fraction"
	Duration Dimension = "duration"
	Mass     Dimension = "mass"
	Distance Dimension = "distance"
	Warming  Dimension = "temperature difference"
)

// Unit is one of the units a document may glue to a number. The zero Unit is no unit.
type Unit struct {
	// Symbol is the spelling in documents: ASCII, a full stop for a product ("N.m").
	Symbol string
	// Display is the spelling on screens and paper, after ISO 80000-1 ("N·m").
	Display string
	// Dimension is what the unit measures.
	Dimension Dimension
	// SI is how many SI units (N·m, m, rad, N, Pa, m³, 1, s, kg) one of this unit is.
	// Angles are the exception: their SI factor holds π, which no ratio can, so
	// they convert through degrees.
	SI *big.Rat
}

// The factors are exact by definition: 1 in = 25.4 mm, 1 lb = 0.453 592 37 kg and
// gn = 9.806 65 m/s² (NIST SP 811, appendix B.8 and footnotes).
var (
	inch = ratio("0.0254")
	lbf  = mul("0.45359237", "9.80665")
	kgf  = ratio("9.80665")
)

// Units lists every unit a document may use, in the order messages name them.
var Units = []Unit{
	{"N.m", "N·m", Torque, ratio("1")},
	{"lbf.ft", "lbf·ft", Torque, product(lbf, inch, ratio("12"))},
	{"lbf.in", "lbf·in", Torque, product(lbf, inch)},
	{"kgf.m", "kgf·m", Torque, kgf},
	{"kgf.cm", "kgf·cm", Torque, product(kgf, ratio("0.01"))},
	{"ozf.in", "ozf·in", Torque, product(lbf, inch, ratio("1/16"))},
	{"mm", "mm", Length, ratio("0.001")},
	{"in", "in", Length, inch},
	{"deg", "°", Angle, ratio("1")},
	{"turn", "turn", Angle, ratio("360")},
	{"N", "N", Force, ratio("1")},
	{"kN", "kN", Force, ratio("1000")},
	{"lbf", "lbf", Force, lbf},
	{"MPa", "MPa", Pressure, ratio("1000000")},
	{"psi", "psi", Pressure, product(lbf, new(big.Rat).Inv(product(inch, inch)))},
	{"L", "L", Volume, ratio("0.001")},
	{"mL", "mL", Volume, ratio("0.000001")},
	{"%", "%", Fraction, ratio("0.01")},
	{"s", "s", Duration, ratio("1")},
	{"min", "min", Duration, ratio("60")},
	{"h", "h", Duration, ratio("3600")},
	{"kg", "kg", Mass, ratio("1")},
	{"km", "km", Distance, ratio("1000")},
	{"K", "K", Warming, ratio("1")},
}

// slipped maps what people type to the spelling documents use. It serves
// suggestions only: a document with one of these is still refused, because
// "lb" may be a force, a torque or a mass and a guess here snaps a stud.
var slipped = map[string]string{
	"nm": "N.m", "n m": "N.m", "n-m": "N.m", "n*m": "N.m", "n·m": "N.m", "newton metre": "N.m", "newton meter": "N.m",
	"newton metres": "N.m", "newton meters": "N.m", "newton-metre": "N.m", "newton-meter": "N.m", "nrn": "N.m",
	"ft-lb": "lbf.ft", "ft.lb": "lbf.ft", "ft lb": "lbf.ft", "ft-lbs": "lbf.ft", "ft.lbs": "lbf.ft", "ft lbs": "lbf.ft",
	"ft/lb": "lbf.ft", "ft·lbf": "lbf.ft", "ft.lbf": "lbf.ft", "ft-lbf": "lbf.ft", "lb-ft": "lbf.ft", "lb.ft": "lbf.ft",
	"lb ft": "lbf.ft", "lbs ft": "lbf.ft", "lbf ft": "lbf.ft", "lbf-ft": "lbf.ft", "lbf·ft": "lbf.ft", "lbft": "lbf.ft",
	"foot-pound": "lbf.ft", "foot-pounds": "lbf.ft", "foot pounds": "lbf.ft", "pound-feet": "lbf.ft", "pound feet": "lbf.ft",
	"in-lb": "lbf.in", "in.lb": "lbf.in", "in lb": "lbf.in", "in-lbs": "lbf.in", "in.lbs": "lbf.in", "lb-in": "lbf.in",
	"lb.in": "lbf.in", "lb in": "lbf.in", "lbf in": "lbf.in", "lbf-in": "lbf.in", "lbf·in": "lbf.in", "inch-pounds": "lbf.in", "inch pounds": "lbf.in",
	"kg-m": "kgf.m", "kgm": "kgf.m", "kg.m": "kgf.m", "kgf·m": "kgf.m", "mkg": "kgf.m", "kgfm": "kgf.m", "kgf m": "kgf.m",
	"kg-cm": "kgf.cm", "kgcm": "kgf.cm", "kg.cm": "kgf.cm", "kgf·cm": "kgf.cm", "kgf cm": "kgf.cm",
	"oz-in": "ozf.in", "oz.in": "ozf.in", "ozf·in": "ozf.in",
	"millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm", "mil": "mm", "inch": "in", "inches": "in", "\"": "in", "″": "in",
	"°": "deg", "degree": "deg", "degrees": "deg", "turns": "turn",
	"mpa": "MPa", "n/mm2": "MPa", "n/mm²": "MPa", "l": "L", "litre": "L", "liter": "L", "litres": "L", "liters": "L", "ml": "mL",
	"percent": "%", "kn": "kN", "n": "N", "newton": "N", "newtons": "N", "minutes": "min", "seconds": "s", "sec": "s",
}

var unitBySymbol = func() map[string]*Unit {
	m := make(map[string]*Unit, len(Units))
	for i := range Units {
		m[Units[i].Symbol] = &Units[i]
	}
	return m
}()

// LookupUnit finds a unit by its document spelling.
func LookupUnit(symbol string) (Unit, bool) {
	if u := unitBySymbol[symbol]; u != nil {
		return *u, true
	}
	return Unit{}, false
}

// NearestUnit returns the document spelling someone who typed s probably meant,
// or "" when there is no safe suggestion.
func NearestUnit(s string) string {
	key := strings.ToLower(strings.TrimSpace(s))
	if u, ok := slipped[key]; ok {
		return u
	}
	for _, u := range Units {
		if strings.EqualFold(u.Symbol, key) || strings.EqualFold(u.Display, key) {
			return u.Symbol
		}
	}
	return ""
}

// UnitsOf lists the document spellings of the units of a dimension.
func UnitsOf(d Dimension) []string {
	var out []string
	for _, u := range Units {
		if u.Dimension == d {
			out = append(out, u.Symbol)
		}
	}
	return out
}

func ratio(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		// Reached only when a constant in this file is misspelt; the package's tests load it.
		panic(s + " is not a ratio")
	}
	return r
}

func mul(a, b string) *big.Rat { return product(ratio(a), ratio(b)) }

func product(rs ...*big.Rat) *big.Rat {
	p := big.NewRat(1, 1)
	for _, r := range rs {
		p.Mul(p, r)
	}
	return p
}
