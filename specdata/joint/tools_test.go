package joint

import (
	"math"
	"strings"
	"testing"
)

func TestChooseWrench(t *testing.T) {
	wrenches := []Wrench{{2, 10}, {10, 60}, {40, 210}, {140, 700}}
	for _, c := range []struct {
		torque float64
		want   int
		suits  Suits
	}{{8, 0, InMiddle}, {50, 1, OffMiddle}, {110, 2, InMiddle}, {240, 3, OffMiddle}, {62, 2, OffMiddle}, {1, -1, OffScale}, {900, -1, OffScale}, {0, -1, OffScale}} {
		got, s := ChooseWrench(wrenches, c.torque)
		if c.torque == 8 { // at the edge of the middle half
			s, c.suits = min(s, InMiddle), s
		}
		if got != c.want || s != c.suits {
			t.Errorf("%g N·m: wrench %d (%v), want %d (%v)", c.torque, got, s, c.want, c.suits)
		}
	}
	for _, c := range []struct {
		torque float64
		want   Suits
	}{{8, OffScale}, {40, BelowProved}, {42, OffMiddle}, {210, OffMiddle}, {211, OffScale}, {100, InMiddle}} {
		if got := (Wrench{40, 210}).Suits(c.torque); got != c.want {
			t.Errorf("%g on 40 to 210: %v, want %v", c.torque, got, c.want)
		}
	}
}

func TestSquareFor(t *testing.T) {
	for _, c := range []struct {
		torque float64
		want   string
	}{{8, "1/4 in"}, {30, "1/4 in"}, {62, "3/8 in"}, {235, "1/2 in"}, {700, "3/4 in"}, {2000, "1 in"}} {
		if s, ok := SquareFor(c.torque); !ok || s.Name != c.want {
			t.Errorf("%g N·m: %s, want %s", c.torque, s.Name, c.want)
		}
	}
	if _, ok := SquareFor(5000); ok {
		t.Error("5000 N·m has a square")
	}
	if _, ok := SquareNamed("2/3 in"); ok {
		t.Error("2/3 in is a square")
	}
}

func TestAdapter(t *testing.T) {
	// Angled adapter: only the part along the wrench counts.
	if got, want := Setting(100, 0.4, 0.1, pi/3), 100*0.4/0.45; math.Abs(got-want) > 1e-9 {
		t.Errorf("at 60°: %g, want %g", got, want)
	}
	if back := AtFastener(Setting(100, 0.4, 0.1, 1), 0.4, 0.1, 1); math.Abs(back-100) > 1e-9 {
		t.Errorf("there and back: %g", back)
	}
	if Setting(100, 0.4, 0.1, pi) <= 100 {
		t.Error("an adapter turned back over the handle needs a higher setting")
	}
}

// The examples of the trade's rule on hexagons (common practice, no source).
func TestFitHex(t *testing.T) {
	for _, c := range []struct {
		thread string
		mm     float64
		wheel  bool
		steps  int
		most   int
	}{
		{"M10", 16, false, 0, 0}, {"M10", 15, false, 0, 0}, {"M10", 17, false, 0, 0}, {"M8", 12, false, 0, 0}, {"M14x1.5", 22, true, 0, 0}, {"M12x1.5", 19, true, 0, 0},
		{"M14x1.5", 17, true, 0, 0}, {"M8", 19, false, 2, 99}, {"M24x1.5", 30, false, 2, 99}, {"M10", 18, false, 1, 1}, {"1/2-20", 19.05, false, 0, 0}, {"1/2-20", 18, false, 1, 1},
	} {
		f := FitHex(parse(t, c.thread), c.mm/1e3, c.wheel)
		if f.Steps < c.steps || f.Steps > c.most {
			t.Errorf("%s with %g mm: %d steps from %g mm (%v)", c.thread, c.mm, f.Steps, f.Nearest.AcrossFlats*1e3, f.Nearest.Standard)
		}
	}
	if f := FitHex(parse(t, "M35x1.5"), 55e-3, false); f.Steps != -1 {
		t.Errorf("M35 has a hexagon: %+v", f)
	}
	if got := len(Sockets(parse(t, "M10"), false)); got != 5 { // 16, 17, 13, 14, 15
		t.Errorf("M10 has %d hexagons", got)
	}
}

func TestBoltGrade(t *testing.T) {
	m10, m20 := parse(t, "M10"), parse(t, "M20")
	a, b := grade(t, "8.8", m10), grade(t, "8.8", m20)
	if a.Yield != 640e6 || b.Yield != 660e6 {
		t.Errorf("8.8 splits at 16 mm: %g and %g", a.Yield, b.Yield)
	}
	if g := grade(t, "8.8", parse(t, "M16")); g.Yield != 640e6 {
		t.Errorf("8.8 at 16 mm: %g", g.Yield)
	}
	if g := grade(t, "SAE J429 grade 5", parse(t, "1/2-13")); g.Name != "grade 5" {
		t.Errorf("grade 5 is %q", g.Name)
	}
	for class, says := range map[string]string{"88": `"8.8"`, "5": `"grade 5"`, "grade 6": "allowed", "A2-75": "50, 70", "B7-70": "unknown", "": "allowed", "9.8": "16 mm", "grade 8.2": "ends"} {
		_, err := BoltGrade(class, map[bool]float64{true: 0.04, false: 0.02}[class == "grade 8.2"])
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q in it", class, err, says)
		}
	}
	if g, ok := LeastGrade(m10, StandardBearing(m10), Same(0.12), 62); !ok || g.Name != "10.9" {
		t.Errorf("62 N·m on M10 implies %q", g.Name)
	}
	if _, ok := LeastGrade(m10, StandardBearing(m10), Same(0.12), 200); ok {
		t.Error("200 N·m on M10 implies a class")
	}
}
