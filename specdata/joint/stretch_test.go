package joint

import (
	"math"
	"strings"
	"testing"

	"proofload/specdata"
)

func thread(t *testing.T, designation string) Thread {
	t.Helper()
	th, err := ParseThread(designation)
	if err != nil {
		t.Fatal(err)
	}
	return th
}

// The clamped parts give as two cones do that widen from either face to the middle, and
// a tapped joint as one cone over the whole length. The sum over thin slices is
// arithmetic; the slope of the cone is that of VDI 2230:2003 5.1/26 and 5.1/27, from memory.
func TestJointResilienceIsTheSumOfItsSlices(t *testing.T) {
	th := thread(t, "M10x1.5")
	b := StandardBearing(th)
	const e = 205e9
	for _, tapped := range []bool{false, true} {
		for _, grip := range []float64{8e-3, 20e-3, 60e-3} {
			slope := 0.5
			for range 2 {
				if tapped {
					slope = 0.348 + 0.013*math.Log(grip/b.Outer) + 0.193*math.Log((b.Outer+2*grip*slope)/b.Outer)
				} else {
					slope = 0.362 + 0.032*math.Log(grip/b.Outer/2) + 0.153*math.Log((b.Outer+grip*slope)/b.Outer)
				}
				slope = min(max(slope, 0.3), 0.7) // the range of the fit
			}
			length, cones := grip, 1.0
			if !tapped {
				length, cones = grip/2, 2
			}
			const slices = 20_000
			sum, dx := 0.0, length/slices
			for i := range slices {
				d := b.Outer + 2*(float64(i)+0.5)*dx*slope
				sum += dx / (e * math.Pi / 4 * (d*d - b.Hole*b.Hole))
			}
			if got, want := JointResilience(b, grip, tapped, e), cones*sum; math.Abs(got/want-1) > 1e-6 {
				t.Errorf("tapped %v, grip %v: resilience %v, slices %v", tapped, grip, got, want)
			}
		}
	}
	if got := JointResilience(b, 0, false, e); got != 0 {
		t.Errorf("nothing clamped gives %v", got)
	}
}

// A bolt gives as its parts do, each with its own area and length; a shank longer than
// the grip counts only as far as the grip.
func TestBoltResilienceIsTheSumOfItsParts(t *testing.T) {
	th := thread(t, "M10x1.5")
	shankArea, root := math.Pi/4*th.Major*th.Major, math.Pi/4*th.RootDiameter()*th.RootDiameter()
	for _, tt := range []struct {
		grip, shank float64
		tapped      bool
		end         float64 // substitute length of nut or tapped hole, in diameters
	}{{40e-3, 0, false, 0.4}, {40e-3, 25e-3, false, 0.4}, {40e-3, 25e-3, true, 0.33}, {40e-3, 60e-3, false, 0.4}} {
		full := min(tt.shank, tt.grip)
		want := (0.5*th.Major/shankArea + full/shankArea + (tt.grip-full)/root + 0.5*th.Major/root + tt.end*th.Major/shankArea) / 205e9
		if got := BoltResilience(th, tt.grip, tt.shank, tt.tapped, Steel); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%+v: %v, want %v", tt, got, want)
		}
	}
	if soft, stiff := BoltResilience(th, 40e-3, 0, false, Stainless), BoltResilience(th, 40e-3, 0, false, Steel); math.Abs(soft/stiff-205.0/193) > 1e-9 {
		t.Errorf("stainless over steel is %v; the moduli are 193 and 205 GPa", soft/stiff)
	}
}

// Turning on one way and back is where it began, and a whole turn moves the nut by a pitch.
func TestAngleAndClampAreEachOthersReverse(t *testing.T) {
	th := thread(t, "M12x1.75")
	r := Resilience{3e-9, 1e-9}
	if got := AngleFor(th, r, AddedClamp(th, r, 1.2)); math.Abs(got-1.2) > 1e-12 {
		t.Errorf("1.2 rad comes back as %v", got)
	}
	if got, want := AddedClamp(th, r, 2*math.Pi), 1.75e-3/4e-9; math.Abs(got/want-1) > 1e-12 {
		t.Errorf("a whole turn adds %v N, want pitch over resilience, %v", got, want)
	}
}

// The lines of a torque and angle are in kN and degrees, of the values worked out.
func TestTurnLines(t *testing.T) {
	v := Judge(Input{
		Kind: specdata.JointClamp, Thread: thread(t, "M10x1.5"), Bolt: mustGrade(t, "10.9", 10e-3), Torque: 40, Snug: 40, Angle: math.Pi / 2, Grip: 50e-3,
	})
	r := v.Turn
	if !r.Checked {
		t.Fatalf("not worked out: %v", v.NotChecked)
	}
	text := v.Text()
	for _, want := range []struct {
		name      string
		low, high float64
	}{{"clamp load before the angle", r.SnugLow, r.SnugHigh}, {"clamp load the angle adds, elastic", r.AddedLow, r.AddedHigh}, {"clamp load at yield", r.YieldLow, r.YieldHigh}, {"clamp load reached", r.ClampLow, r.ClampHigh}} {
		line, _, _ := strings.Cut(text[max(0, strings.Index(text, want.name)):], "\n")
		if !strings.HasPrefix(line, want.name) || !strings.Contains(line, " "+significant(want.low/1000)+" to "+significant(want.high/1000)+" kN") {
			t.Errorf("%s is not %.4g to %.4g kN in\n%s", want.name, want.low/1000, want.high/1000, text)
		}
	}
	if !strings.Contains(text, "90 °") {
		t.Errorf("a quarter turn is not 90 ° in\n%s", text)
	}
}

func mustGrade(t *testing.T, class string, d float64) Grade {
	t.Helper()
	g, err := BoltGrade(class, d)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// The friction at which the torque equation has a nut factor gives that factor back.
func TestFrictionForIsTheReverseOfNutFactor(t *testing.T) {
	for _, d := range []string{"M6", "M10x1.25", "M24x2", "7/16-20 UNF"} {
		th := thread(t, d)
		b := StandardBearing(th)
		for _, k := range []float64{0.12, 0.2, 0.3} {
			if got := NutFactor(th, b, Same(FrictionFor(th, b, k))); math.Abs(got-k) > 1e-12 {
				t.Errorf("%s: K %v comes back as %v", d, k, got)
			}
		}
	}
}

// Sizes that no table has get the share of the diameter that stands in for it.
func TestBearingsOffTheTables(t *testing.T) {
	m7, m39 := thread(t, "M7"), thread(t, "M39x3")
	if b, ok := SocketBearing(m39); !ok || math.Abs(b.Outer-1.45*39e-3) > 1e-9 || math.Abs(b.Hole-42e-3) > 1e-9 {
		t.Errorf("cap screw M39: %+v, want 1.45 d on the 42 mm hole", b)
	}
	if b, ok := FlangeBearing(m7, 11e-3); !ok || math.Abs(b.Outer-1.95*7e-3) > 1e-9 || math.Abs(b.Hole-7.6e-3) > 1e-9 {
		t.Errorf("flange M7: %+v, want 1.95 d on the 7.6 mm hole", b)
	}
	m9 := thread(t, "M9")
	if got := ClearanceHole(m9); math.Abs(got-1.1*9e-3) > 1e-9 {
		t.Errorf("hole for M9 is %v, which ISO 273 does not have; want 1.1 d", got)
	}
	// ASME B18.2.8 normal fit: 1/4 in has 9/32, 1 in has 1-3/32 (from memory, to 0.4 mm).
	for d, want := range map[string]float64{"1/4-20 UNC": 9.0 / 32, "1-8 UNC": 1 + 3.0/32} {
		if got := ClearanceHole(thread(t, d)) / 0.0254; math.Abs(got-want) > 0.4/25.4 {
			t.Errorf("hole for %s is %v in, want %v", d, got, want)
		}
	}
}

// Of wrenches that suit as well, the first is taken.
func TestChooseWrenchTakesTheFirstOfEquals(t *testing.T) {
	if i, _ := ChooseWrench([]Wrench{{20, 100}, {20, 100}}, 60); i != 0 {
		t.Errorf("wrench %d of two alike", i)
	}
}

func TestInches(t *testing.T) {
	for text, want := range map[string]float64{"7/16": 0.4375, "1-1/2": 1.5, "0.4375": 0.4375, "#8": 0.164, "#10": 0.19, "2": 2} {
		if got, ok := inches(text); !ok || math.Abs(got-want) > 1e-12 {
			t.Errorf("%s is %v, %v; want %v in", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "#", "#x", "#0", "0", "0/4", "3/0", "x", "1/x"} {
		if got, ok := inches(text); ok {
			t.Errorf("%q is %v in; it is no size carried here", text, got)
		}
	}
}

// The least bearing faces of ISO 4014, product grade A, in mm (from memory): 21 mm across
// flats is the first size whose face is a share of the size.
func TestHexFaceOfISO4014(t *testing.T) {
	for size, want := range map[float64]float64{10: 8.88, 13: 11.63, 16: 14.63, 18: 16.63, 21: 19.64, 24: 22.49, 30: 28.19} {
		if got := HexFace(size*1e-3) * 1e3; math.Abs(got-want) > 0.02 {
			t.Errorf("across flats %v mm: face %.3f mm, ISO 4014 has %v", size, got, want)
		}
	}
}
