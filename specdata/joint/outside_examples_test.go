package joint

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// workedExamples checks the examples one by one; see each for its tolerance. Rows
// that hold a formula and no number are skipped and counted.
func workedExamples(t *testing.T, y *tally) {
	y.disagrees("STRIP-7/8-9-bolt", "printed 1.24, the formula gives 1.254; the table's own recomputation is 1.1 % off too")
	for _, r := range rows(t, "worked_examples") {
		id := r["id"]
		check := byID[id]
		switch {
		case strings.HasPrefix(id, "STRIP-M"), strings.HasPrefix(id, "STRIP-") && strings.HasSuffix(id, "-bolt"), strings.HasPrefix(id, "STRIP-") && strings.HasSuffix(id, "-nut"):
			check = stripArea
		case strings.HasPrefix(id, "TON-"):
			y.skip("turn-of-nut of structural bolting, not carried")
			continue
		case check == nil && r["expected"] == "":
			y.skip("a formula without a number; it is the one the package uses")
			continue
		}
		if check == nil {
			t.Errorf("worked example %s is neither checked nor skipped with a reason", id)
			continue
		}
		y.row()
		check(t, y, r)
	}
}

// stripArea: half of the last printed digit. The metric table is printed to five
// digits from limits in whole micrometres, which adds up to 0.005 %; the inch table
// to three digits from limits rounded to 0.0001 in (0.001 for the minor diameter),
// which adds 0.2 %.
func stripArea(t *testing.T, y *tally, r row) {
	_, name, _ := strings.Cut(r["id"], "STRIP-")
	name, which := name[:strings.LastIndexByte(name, '-')], name[strings.LastIndexByte(name, '-')+1:]
	unit, rel := 1e-6, 0.00005
	if !strings.HasPrefix(name, "M") {
		unit, rel = inch*inch, 0.002
	} else {
		name = r["inputs"]
	}
	th := parse(t, name)
	ext, in := ShearAreas(th, th.Major)
	got := in
	if which == "bolt" {
		got = ext
	}
	want, _ := r.num(t, "expected")
	y.within(r["id"], got/unit, want, half(r["expected"])+rel*want)
}

// byID holds the examples that are not strip areas.
var byID = map[string]func(*testing.T, *tally, row){
	"K-0.30": nutFactorExample, "K-0.25": nutFactorExample, "K-0.15": nutFactorExample, "K-0.10": nutFactorExample,
	"SH-2": func(t *testing.T, y *tally, r row) {
		// Collar at 0.625 d: Db = 1.25 d. The printed figure uses the exact flank
		// form with sec 30° (here the normal angle): 0.05 %.
		th := parse(t, "3/4-16 UNF")
		b := Bearing{Outer: 1.25 * th.Major, Hole: 1.25 * th.Major}
		lbf := PoundInch / inch
		want, _ := r.num(t, "expected")
		y.within("SH-2", TorqueExact(th, b, Same(0.15), 25000*lbf)/PoundInch, want, 0.0005*want)
		y.within("SH-2 nut factor", NutFactor(th, b, Same(0.15)), 0.1894, 0.005*0.1894) // the small-angle form is up to 0.5 % lower
	},
	"SND-1": func(t *testing.T, y *tally, r row) {
		th := parse(t, "5/8-11 UNC")
		mu := Same(FrictionFor(th, StandardBearing(th), 0.2))
		want, _ := r.num(t, "expected")
		y.within("SND-1", Clamp(th, StandardBearing(th), mu, 1800*PoundInch)/(PoundInch/inch), want, 1e-6*want)
	},
	"SND-3": func(t *testing.T, y *tally, r row) {
		// ±35 %: what a friction 1/(1−0.35) higher leaves of the clamp load.
		th := parse(t, "5/8-11 UNC")
		b := StandardBearing(th)
		mu := Same(FrictionFor(th, b, 0.2/(1-0.35)))
		want, _ := r.num(t, "expected")
		y.within("SND-3", Clamp(th, b, mu, 1800*PoundInch)/(PoundInch/inch), want, 1e-6*want)
	},
	"NASA-1": func(t *testing.T, y *tally, r row) {
		th := parse(t, "1/2-20")
		b := StandardBearing(th)
		k := NutFactor(th, b, Same(0.15))
		low := Same(FrictionFor(th, b, k/1.25))
		y.within("NASA-1", Clamp(th, b, low, 100)/Clamp(th, b, Same(0.15), 100), 1.25, 1e-9)
	},
	"NASA-3": func(t *testing.T, y *tally, r row) {
		// 65 % of Fty = 85 ksi over At: the psi of the printed product.
		th := parse(t, "1/2-20")
		want, _ := r.num(t, "expected")
		y.within("NASA-3", 0.65*85*ksi*th.StressArea()/th.StressArea()/(ksi/1000), want, 1e-6*want)
	},
	"NSTM-1": func(t *testing.T, y *tally, r row) {
		// At is taken as the printed 0.0318 there, 0.0318230 here: 0.1 %.
		th := parse(t, "1/4-20 UNC")
		g := grade(t, "grade 8", th)
		want, _ := r.num(t, "expected")
		y.within("NSTM-1", g.Proof*th.StressArea()/(PoundInch/inch), want, 0.001*want)
	},
	"VDI-1":  vdiExample("M12", "8.8", 0.14, false),
	"VDI-3a": vdiExample("M10x1.25", "8.8", 0.12, false),
	"VDI-3b": vdiExample("M10x1.25", "8.8", 0.12, true),
	"VDI-4b": vdiExample("M12x1.25", "10.9", 0.10, true),
	"VDI-5a": vdiExample("M20x1.5", "8.8", 0.14, false),
	"STRIP-1": func(t *testing.T, y *tally, r row) {
		// The print takes the maximum major diameter for the minimum; only with that
		// does 21.6 come out. 0.1 mm is its last digit.
		l := parse(t, "M10").Limits()
		want, _ := r.num(t, "expected")
		ds, p := l.ExternalMajorMax, 1.5e-3
		y.within("STRIP-1", 69600/(130*mpa*pi*ds/p*(p/2+(ds-l.InternalPitchMax)/sqrt3))*1e3, want, 0.1)
	},
	"STRIP-1b": func(t *testing.T, y *tally, r row) {
		_, in := ShearAreas(parse(t, "M10"), 1)
		want, _ := r.num(t, "expected")
		y.within("STRIP-1b", 69600/(130*mpa*in)*1e3, want, 0.0005*want) // limits in whole micrometres there
	},
	"TQ-2": func(t *testing.T, y *tally, r row) {
		y.within("TQ-2", AtFastener(100, 0.5, 0.15, 0), 130, 1e-9)
		y.within("TQ-2 back", Setting(130, 0.5, 0.15, 0), 100, 1e-9)
		y.within("TQ-2 at a right angle", Setting(130, 0.5, 0.15, pi/2), 130, 1e-9)
	},
	"TQ-3": func(t *testing.T, y *tally, r row) {
		y.within("TQ-3 low", Reading(50, 30), 80, 1e-9)
		y.within("TQ-3 high", Reading(70, 30), 100, 1e-9)
		y.within("TQ-3 ignored", Reading(100, 30), 100, 1e-9)
	},
	"ANG-1": func(t *testing.T, y *tally, r row) {
		// The number is in the note: 30 kN at 200 kN/mm is 36°.
		th := parse(t, "M10")
		res := Resilience{Bolt: 1 / 200e6}
		y.within("ANG-1", AngleFor(th, res, 30e3)*180/pi, 36, 1e-9)
		y.within("ANG-1 back", AddedClamp(th, res, 36*pi/180), 30e3, 1e-6)
	},
	"ISO-1": func(t *testing.T, y *tally, r row) {
		th := parse(t, "M10")
		want, _ := r.num(t, "expected")
		y.within("ISO-1", th.StressArea()*grade(t, "8.8", th).Tensile, want, third(want)) // three digits
	},
	"LOC-1": func(t *testing.T, y *tally, r row) {
		// Rules of thumb in halves of d: the figure must round to them, upwards.
		th := parse(t, "M8")
		g := grade(t, "10.9", th)
		al, _ := TappedInto("aluminium")
		wire, _ := TappedInto("insert")
		y.within("LOC-1 without insert", math.Ceil(2*Engagement(th, g, al, 260*mpa)/th.Major)/2, 2, 0)
		y.within("LOC-1 with insert", math.Ceil(2*Engagement(th, g, wire, 260*mpa)/th.Major)/2, 1.5, 0)
	},
}

func nutFactorExample(t *testing.T, y *tally, r row) {
	// Half of the last digit and 0.1 %, the print's own misses against K·D·P.
	_, s, _ := strings.Cut(r["id"], "K-")
	k, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	th := parse(t, "#10-32 UNF")
	b := StandardBearing(th)
	want, _ := r.num(t, "expected")
	y.within(r["id"], Torque(th, b, Same(FrictionFor(th, b, k)), 1275*PoundInch/inch)/PoundInch, want, half(r["expected"])+0.001*want)
}

// vdiExample: half of the last printed digit and 0.2 %, as the fine table.
func vdiExample(thread, class string, mu float64, torque bool) func(*testing.T, *tally, row) {
	return func(t *testing.T, y *tally, r row) {
		th := parse(t, thread)
		f := ClampAt(th, Same(mu), TableUtilisation*grade(t, class, th).Yield, FullyPlastic)
		got := f / 1e3
		if torque {
			got = Torque(th, StandardBearing(th), Same(mu), f)
		}
		want, _ := r.num(t, "expected")
		y.within(r["id"], got, want, half(r["expected"])+0.002*want)
	}
}

// frictionTable checks that the package's bands are inside the VDI classes they
// claim, and that the nut factors they lead to overlap the published ones.
func frictionTable(t *testing.T, y *tally) {
	th := parse(t, "M10")
	b := StandardBearing(th)
	band := func(c string, f Family) Band {
		x, err := SurfaceBand(c, f)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	overlap := func(x Band, lo, hi float64) bool { return x.Low <= hi && lo <= x.High }
	factors := func(x Band) Band {
		return Band{Low: NutFactor(th, b, Same(x.Low)), High: NutFactor(th, b, Same(x.High))}
	}
	for _, r := range rows(t, "friction") {
		lo, okLo := r.num(t, "low")
		typ, okTyp := r.num(t, "typical")
		hi, okHi := r.num(t, "high")
		at := r["quantity"] + ", " + r["condition"]
		switch q := r["quantity"]; {
		case q == "friction class A":
			y.row()
			y.holds(at, overlap(band("greased", Steel), lo, hi))
		case q == "friction class B":
			y.row()
			for _, c := range []string{"oiled", "as-received", "compound", "precoated", "threadlock"} {
				x := band(c, Steel)
				y.holds(at+": "+c, x.Low >= lo && x.High <= hi)
			}
		case q == "friction class C":
			y.row()
			x := band("dry", Steel)
			y.holds(at+": dry", overlap(x, lo, hi) && x.High <= hi)
			x = band("greased", Stainless)
			y.holds(at+": stainless with paste", x.Low >= lo && x.High <= hi)
		case q == "friction class D":
			y.row()
			x := band("oiled", Stainless)
			y.holds(at+": stainless oiled", x.Low >= lo && x.High <= hi)
		case q == "friction class E":
			y.row()
			y.holds(at+": stainless dry", band("dry", Stainless).Low >= lo)
		case q == "nut factor K" && okLo && okHi && strings.Contains(at, "dry steel"):
			y.row()
			y.holds(at, overlap(factors(band("dry", Steel)), lo, hi))
		case q == "nut factor K" && okLo && okHi && strings.Contains(at, "oil"):
			y.row()
			y.holds(at, overlap(factors(band("oiled", Steel)), lo, hi))
		case q == "nut factor K" && okLo && okHi && strings.Contains(at, "302"):
			y.row()
			y.holds(at, overlap(factors(band("dry", Stainless)), lo, hi))
		case q == "nut factor K" && okTyp && (strings.Contains(at, "bare steel") || strings.Contains(at, "clean dry")):
			y.row()
			y.holds(at, overlap(factors(band("dry", Steel)), typ, typ))
		case q == "nut factor K" && okTyp && strings.HasSuffix(at, ", lubricated"):
			// 0.15 and 0.18: the workshop's "lubricated" reaches up to as received.
			y.row()
			y.holds(at, overlap(factors(Band{Low: 0.08, High: 0.16}), typ, typ))
		case q == "preload scatter" && okTyp && strings.Contains(at, "torque wrench"):
			// The clamp scatter of a band is no wider than what NASA allows.
			y.row()
			x := band("dry", Steel)
			if strings.Contains(at, ", lubricated") || strings.HasSuffix(at, "torque wrench, lubricated bolts") {
				x = band("oiled", Steel)
			}
			y.holds(at, scatter(th, b, x) <= typ)
		case q == "tightening factor alphaA":
			y.row()
			x := band("as-received", Steel)
			y.holds(at, Lever(th, b, Same(x.High))/Lever(th, b, Same(x.Low)) <= hi)
		default:
			y.skip("a finish, lubricant or method that records do not name")
		}
	}
}

// scatter is half the relative width of the clamp load over a friction band.
func scatter(t Thread, b Bearing, x Band) float64 {
	hi, lo := 1/Lever(t, b, Same(x.Low)), 1/Lever(t, b, Same(x.High))
	return (hi - lo) / (hi + lo)
}

// prevailingTable: half of the last printed digit.
func prevailingTable(t *testing.T, y *tally) {
	for _, r := range rows(t, "prevailing_torque") {
		if strings.HasPrefix(r["nut_type"], "locknut/lockscrew") {
			y.skip("nylon and patch values by size alone, another quantity than the reuse check")
			continue
		}
		name := r["thread"]
		if strings.HasPrefix(name, "10-") || strings.HasPrefix(name, "8-") {
			name = "#" + name
		}
		y.row()
		d, err := PrevailingTorque(parse(t, name))
		if err != nil {
			t.Error(err)
			continue
		}
		got := map[string]float64{"min breakaway torque": d.FifthOffMin, "min first removal": d.FirstOffMin, "max first assembly": d.FirstOnMax, "min fifth removal": d.FifthOffMin, "max locking torque, installation": d.FirstOnMax}[r["quantity"]]
		want, _ := r.num(t, "value_Nm")
		y.within(name+" "+r["quantity"], got, want, half(r["value_Nm"]))
	}
}

// toolTable is exact but for the two ranges noted.
func toolTable(t *testing.T, y *tally) {
	for _, r := range rows(t, "tools") {
		f, v := r["fact"], r["value"]
		first := number(strings.TrimLeft(strings.Fields(v)[0], "+-><="))
		squareIn := func() Square {
			i := strings.IndexByte(f, '(')
			s, ok := SquareNamed(strings.TrimSuffix(f[i+1:], ")"))
			if !ok {
				t.Fatalf("no square in %q", f)
			}
			return s
		}
		switch {
		case strings.Contains(f, "max torque > 10"):
			y.row()
			y.within(f, 100*Wrench{40, 210}.Tolerance(), first, 1e-9)
		case strings.Contains(f, "max torque <= 10"):
			y.row()
			y.within(f, 100*Wrench{2, 10}.Tolerance(), first, 1e-9)
		case f == "check points":
			y.row()
			y.holds("20 % of full scale is proved, less is not", Wrench{5, 100}.Suits(20) > BelowProved && Wrench{5, 100}.Suits(19) == BelowProved)
		case f == "torque range starts at":
			y.row()
			y.holds("under the lowest mark is off the scale", Wrench{40, 210}.Suits(39) == OffScale)
		case strings.HasPrefix(f, "max torque of a torque tool"):
			y.row()
			y.within(f, squareIn().ToolMax, first, 1e-9)
		case strings.HasPrefix(f, "hand driving part test torque"):
			y.row()
			y.within(f, squareIn().Test, first, 1e-9)
		case strings.HasPrefix(f, "most effective range"):
			y.row()
			stated := f[strings.LastIndexByte(f[:strings.LastIndexByte(f, ' ')], ' ')+1 : strings.LastIndexByte(f, ' ')]
			a, b, _ := strings.Cut(stated, "-")
			low, high := Wrench{number(a), number(b)}.Middle()
			wl, wh, _ := strings.Cut(strings.Fields(v)[0], "-")
			if stated == "0-600" {
				// 50 is printed where the rule (25 %) and the other rows give 150.
				y.holds("0-600 prints 50, the rule gives 150", low == 150 && wl == "50")
			} else {
				y.within(f+" low", low, number(wl), 1.5) // 44–131 fits a scale to 175, printed 170
			}
			if stated == "0-170" {
				y.within(f+" high", high, number(wh), 3.5)
			} else {
				y.within(f+" high", high, number(wh), 1e-9)
			}
		case f == "default torque tolerance when none is given":
			y.row()
			y.within(f, 100*DefaultTolerance, first, 1e-9)
		case strings.HasPrefix(f, "test torque, wrench"):
			// The source does not say what its columns are; the highest bounds them all.
			y.row()
			limit, _, ok := DriveLimit("hex " + strings.TrimPrefix(f, "test torque, wrench across-flats "))
			y.holds(f, ok)
			y.within(f, limit, first, 1e-9)
		default:
			y.skip("calibration procedure, conflicting or general advice: nothing computed")
		}
	}
	if math.Abs(Squares[0].Side-0.0063) > 1e-12 {
		t.Error("the smallest square is not 6.3 mm")
	}
}
