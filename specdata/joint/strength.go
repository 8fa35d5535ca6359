package joint

import (
	"fmt"
	"strings"
)

// Family is the kind of metal, which decides stiffness and friction.
type Family uint8

// The families.
const (
	Steel Family = iota
	Stainless
)

// Young's modulus in Pa (VDI 2230 table A9, from memory; stainless from memory).
const steelModulus, stainlessModulus = 205e9, 193e9

// Elasticity is Young's modulus in Pa: 205 GPa for steel (VDI 2230 table A9,
// from memory), 193 GPa for austenitic stainless steel (from memory).
func (f Family) Elasticity() float64 {
	if f == Stainless {
		return stainlessModulus
	}
	return steelModulus
}

// Grade holds the least strength a bolt of a marked class has: minimum, not
// nominal, values.
type Grade struct {
	// Name is the class in its canonical spelling: "8.8", "A2-70", "grade 5".
	Name string
	// Standard is where the values come from.
	Standard string
	// Tensile is the least tensile strength Rm in Pa.
	Tensile float64
	// Yield is the least ReL, Rp0.2 or Rpf (4.8, 5.8, 6.8 and stainless) in Pa.
	Yield float64
	// Proof is the stress under proof load Sp in Pa; 0 where the standard has none.
	Proof  float64
	Family Family
}

// IsZero reports whether the class is unknown.
func (g Grade) IsZero() bool { return g.Tensile == 0 }

// ProofOrYield is the stress in Pa that the clamp load is compared with: the proof
// stress, or the yield where the standard states no proof stress (ISO 3506).
func (g Grade) ProofOrYield() float64 {
	if g.Proof > 0 {
		return g.Proof
	}
	return g.Yield
}

const (
	mpa = 1e6
	ksi = 6.894757293168361e6 // Pa: 1000 lbf/in², exact from 1 lbf and 1 in (NIST SP 811)
)

const (
	iso898  = "ISO 898-1:2013 table 3"
	iso3506 = "ISO 3506-1:2020 table 3"
	j429    = "SAE J429 table 1"
)

// isoGrades is ISO 898-1:2013 table 3 in MPa. The last column is the diameter up
// to which the row holds, in mm: 8.8 changes above 16 mm and 9.8 ends there. 3.6
// is in older editions only.
var isoGrades = []struct {
	name              string
	rm, yield, sp, to float64
}{
	{"3.6", 330, 190, 180, 39}, {"4.6", 400, 240, 225, 39}, {"4.8", 420, 340, 310, 39}, {"5.6", 500, 300, 280, 39},
	{"5.8", 520, 420, 380, 39}, {"6.8", 600, 480, 440, 39}, {"8.8", 800, 640, 580, 16}, {"8.8", 830, 660, 600, 39},
	{"9.8", 900, 720, 650, 16}, {"10.9", 1040, 940, 830, 39}, {"12.9", 1220, 1100, 970, 39},
}

// stainlessGrades is ISO 3506-1 by property class, in MPa.
var stainlessGrades = []struct {
	class     string
	rm, yield float64
}{
	{"50", 500, 210}, {"70", 700, 450}, {"80", 800, 600}, {"100", 1000, 800},
}

// saeGrades is SAE J429 in ksi, with the range of diameters of the row in inches.
// Grade 2 is for lengths up to 6 in; a longer bolt has the values of grade 1.
var saeGrades = []struct {
	name                    string
	rm, yield, sp, from, to float64
}{
	{"1", 60, 36, 33, 0.25, 1.5}, {"2", 74, 57, 55, 0.25, 0.75}, {"2", 60, 36, 33, 0.75, 1.5}, {"4", 115, 100, 65, 0.25, 1.5},
	{"5", 120, 92, 85, 0.25, 1}, {"5", 105, 81, 74, 1, 1.5}, {"5.2", 120, 92, 85, 0.25, 1}, {"7", 133, 115, 105, 0.25, 1.5},
	{"8", 150, 130, 120, 0.25, 1.5}, {"8.2", 150, 130, 120, 0.25, 1},
}

// saeSmallest is the smallest diameter of SAE J429, in inches.
const saeSmallest = 0.25

// BoltGrade looks up a bolt's marked class for a nominal diameter d in m:
// ISO 898-1 ("8.8"), ISO 3506-1 ("A2-70") or SAE J429 ("grade 5"). The diameter
// matters for 8.8, 9.8 and the SAE grades.
func BoltGrade(class string, d float64) (Grade, error) {
	class = strings.TrimSpace(class)
	if n, ok := saeName(class); ok {
		return saeGrade(class, n, d/inch)
	}
	if i := strings.IndexByte(class, '-'); i > 0 {
		return stainlessGrade(class, class[:i], class[i+1:])
	}
	mm, known := d/millimetre, false
	for i := range isoGrades {
		if g := &isoGrades[i]; g.name == class {
			if known = true; mm <= g.to+1e-9 {
				return Grade{g.name, iso898, g.rm * mpa, g.yield * mpa, g.sp * mpa, Steel}, nil
			}
		}
	}
	if known {
		return Grade{}, fmt.Errorf("bolt class %s is not defined for a diameter of %.4g mm; %s has it up to 39 mm, and 9.8 up to 16 mm", class, mm, iso898)
	}
	return Grade{}, fmt.Errorf("bolt class %q is unknown; allowed: %s%s", clip(class), boltClasses, nearClass(class))
}

const boltClasses = "3.6, 4.6, 4.8, 5.6, 5.8, 6.8, 8.8, 9.8, 10.9, 12.9 (ISO 898-1), A2-70 and its like (ISO 3506-1), grade 1, 2, 4, 5, 5.2, 7, 8, 8.2 (SAE J429)"

// nearClass guesses what a misspelt class was meant to be.
func nearClass(class string) string {
	switch c := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, class); c {
	case "36", "46", "48", "56", "58", "68", "88", "98", "109", "129":
		return fmt.Sprintf("; did you mean %q?", c[:len(c)-1]+"."+c[len(c)-1:])
	case "1", "2", "4", "5", "7", "8":
		return fmt.Sprintf("; did you mean %q?", "grade "+c)
	}
	return ""
}

// saeName recognises the spellings of an SAE grade.
func saeName(class string) (string, bool) {
	for _, p := range [...]string{"grade ", "SAE grade ", "SAE J429 grade ", "SAE ", "J429 grade ", "Grade "} {
		if n, ok := strings.CutPrefix(class, p); ok {
			return n, true
		}
	}
	return "", false
}

// saeLabels spares an allocation for the canonical names.
var saeLabels = map[string]string{"1": "grade 1", "2": "grade 2", "4": "grade 4", "5": "grade 5", "5.2": "grade 5.2", "7": "grade 7", "8": "grade 8", "8.2": "grade 8.2"}

func saeGrade(class, n string, in float64) (Grade, error) {
	if _, ok := saeLabels[n]; !ok {
		return Grade{}, fmt.Errorf("bolt class %q is no SAE grade; allowed: grade 1, 2, 4, 5, 5.2, 7, 8, 8.2", clip(class))
	}
	for i := range saeGrades {
		// Machine-screw sizes under 1/4 in are outside J429; the smallest row is
		// used, since a grade marked on one means the same steel.
		if g := &saeGrades[i]; g.name == n && in <= g.to+1e-9 && (g.from <= saeSmallest || in > g.from) {
			return Grade{saeLabels[n], j429, g.rm * ksi, g.yield * ksi, g.sp * ksi, Steel}, nil
		}
	}
	return Grade{}, fmt.Errorf("bolt class %s is not defined for a diameter of %.4g in; SAE J429 ends below it", saeLabels[n], in)
}

func stainlessGrade(class, steel, n string) (Grade, error) {
	switch steel {
	case "A1", "A2", "A3", "A4", "A5", "A8", "D2", "D4", "D6", "D8":
		for i := range stainlessGrades {
			if g := &stainlessGrades[i]; g.class == n {
				return Grade{class, iso3506, g.rm * mpa, g.yield * mpa, 0, Stainless}, nil
			}
		}
		return Grade{}, fmt.Errorf("bolt class %q has strength %q; ISO 3506-1 has 50, 70, 80 and 100, as in A2-70", clip(class), clip(n))
	}
	return Grade{}, fmt.Errorf("bolt class %q is unknown; allowed: %s", clip(class), boltClasses)
}

// strongest is the strongest class that exists for the thread's family: a torque
// that even this cannot carry is wrong whatever the bolt is made of.
func strongest(t Thread) Grade {
	class := "12.9"
	if t.Unified() {
		class = "grade 8"
	}
	g, err := BoltGrade(class, t.Major)
	if err != nil {
		return Grade{}
	}
	return g
}

// LeastGrade is the weakest common class (8.8, 10.9, 12.9; grade 5, 8) whose 90 %
// of yield carries the torque in N·m at the friction mu. It lets a record with no
// class be told which one its torque implies. It reports false where none does.
func LeastGrade(t Thread, b Bearing, mu Mu, torque float64) (Grade, bool) {
	classes := []string{"8.8", "10.9", "12.9"}
	if t.Unified() {
		classes = []string{"grade 5", "grade 8"}
	}
	for _, c := range classes {
		g, err := BoltGrade(c, t.Major)
		if err == nil && torque <= YieldTorque(t, b, mu, TableUtilisation*g.Yield) {
			return g, true
		}
	}
	return Grade{}, false
}
