package joint

import (
	"fmt"
	"strings"
)

// NutClass is the marked strength class of a nut. The zero NutClass is unknown.
type NutClass struct {
	// Name is the class as marked: "8", "10", "04".
	Name string
	// Stress is the stress under proof load in Pa over the bolt's stress area:
	// class × 100 MPa (BS 3692). ISO 898-2 asks up to 20 % more for styles 1 and 2
	// by size (from memory), so this is the safe side.
	Stress float64
	// Thin says that it is a thin nut (04, 05), which cannot carry a bolt to its
	// yield and serves as a jam nut only.
	Thin bool

	first int // first number of the strongest bolt class it carries, 0 for thin nuts
}

// IsZero reports whether the class is unknown.
func (n NutClass) IsZero() bool { return n.Name == "" }

// nutClasses is BS 3692 (4, 5, 6, 8, 10, 12) and ISO 898-2 (9, 04, 05: from memory).
var nutClasses = []NutClass{
	{"4", 400 * mpa, false, 4}, {"5", 500 * mpa, false, 5}, {"6", 600 * mpa, false, 6}, {"8", 800 * mpa, false, 8},
	{"9", 900 * mpa, false, 9}, {"10", 1000 * mpa, false, 10}, {"12", 1200 * mpa, false, 12},
	{"04", 380 * mpa, true, 0}, {"05", 500 * mpa, true, 0},
}

// ParseNutClass reads a nut's class as marked: "8", "10", "04".
func ParseNutClass(class string) (NutClass, error) {
	class = strings.TrimSpace(class)
	for _, n := range nutClasses {
		if n.Name == class {
			return n, nil
		}
	}
	hint := ""
	if first, _, ok := strings.Cut(class, "."); ok {
		hint = fmt.Sprintf("; a nut's class has one number, did you mean %q?", clip(first))
	}
	return NutClass{}, fmt.Errorf("nut class %q is unknown; allowed: 4, 5, 6, 8, 9, 10, 12, 04, 05%s", clip(class), hint)
}

// ProofLoad is the proof load in N on a thread: stress under proof load × As.
func (n NutClass) ProofLoad(t Thread) float64 { return n.Stress * t.NominalArea() }

// Carries reports whether the nut is strong enough for the bolt class: its number
// is at least the bolt's first number (ISO 898-2 table 3, from memory; BS 3692
// pairing). A higher nut class may replace a lower one. It is true for classes
// that have no such number (stainless, SAE), which it cannot judge; ok says
// whether it judged.
func (n NutClass) Carries(g Grade) (carries, ok bool) {
	first, found := firstNumber(g)
	if n.IsZero() || !found {
		return true, false
	}
	return !n.Thin && n.first >= first, true
}

// NutFor is the lowest nut class that pairs with the bolt class; ok is false for
// classes ISO 898-2 does not pair.
func NutFor(g Grade) (NutClass, bool) {
	first, found := firstNumber(g)
	if !found {
		return NutClass{}, false
	}
	for _, n := range nutClasses {
		if !n.Thin && n.first >= first {
			return n, true
		}
	}
	return NutClass{}, false
}

// firstNumber is the number before the point of an ISO 898-1 class. Class 3.6
// takes the lowest nut.
func firstNumber(g Grade) (int, bool) {
	if g.Standard != iso898 {
		return 0, false
	}
	n := 0
	for i := 0; i < len(g.Name) && g.Name[i] != '.'; i++ {
		n = n*10 + int(g.Name[i]-'0')
	}
	return n, n > 0
}
