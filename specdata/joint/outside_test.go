package joint

import (
	"math"
	"strings"
	"testing"
)

// TestOutsideValues compares the package with every row of the outside tables it
// can compute, and prints one summary line a table.
func TestOutsideValues(t *testing.T) {
	var summary []string
	for _, tt := range []struct {
		table string
		check func(*testing.T, *tally)
	}{
		{"metric_threads areas", metricAreas},
		{"metric_threads limits 6g/6H", metricLimits},
		{"unified_threads areas", unifiedAreas},
		{"unified_threads limits 2A/2B", unifiedLimits},
		{"metric_classes", classes},
		{"metric_ultimate_loads", ultimateLoads},
		{"nut_classes", nutPairs},
		{"nut_proof_loads", nutLoads},
		{"hex_sizes across flats", hexSizes},
		{"hex_sizes bearing face", hexFaces},
		{"torque_tables VDI 2230 fine", vdiFine},
		{"torque_tables VDI 2230 coarse", vdiCoarse},
		{"torque_tables older mu=0.14", olderTable},
		{"worked_examples", workedExamples},
		{"engagement_lengths", engagementLengths},
		{"friction", frictionTable},
		{"prevailing_torque", prevailingTable},
		{"tools", toolTable},
	} {
		t.Run(tt.table, func(t *testing.T) {
			y := &tally{t: t, table: tt.table, skipped: map[string]int{}, known: map[string]string{}, met: map[string]bool{}}
			tt.check(t, y)
			for at, why := range y.known {
				if !y.met[at] {
					t.Errorf("%s: documented disagreement %q (%s) is not in the table", y.table, at, why)
				}
			}
			if y.values == 0 {
				t.Errorf("%s: nothing was checked", y.table)
			}
			t.Logf("%d rows, %d values checked, worst deviation %.3f %% (%s)", y.rows, y.values, 100*y.worst, y.worstAt)
			summary = append(summary, y.line())
		})
	}
	t.Logf("\n%-34s %5s %7s %10s  %s\n%s", "table", "rows", "values", "worst", "worst at", strings.Join(summary, "\n"))
}

func parse(t testing.TB, s string) Thread {
	t.Helper()
	th, err := ParseThread(s)
	if err != nil {
		t.Fatal(err)
	}
	return th
}

func grade(t testing.TB, class string, th Thread) Grade {
	t.Helper()
	g, err := BoltGrade(class, th.Major)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// Tolerance: half of the last printed digit. The printed stress areas have three
// digits, which is where the worst deviation (M14, 0.4 %) comes from.
func metricAreas(t *testing.T, y *tally) {
	y.disagrees("M39 As_mm2_table2", "printed 975.76 where the formula gives 975.75; made from rounded diameters")
	for _, r := range rows(t, "metric_threads") {
		y.row()
		name := r["designation"]
		th := parse(t, name)
		check := func(col string, got float64) {
			if want, ok := r.num(t, col); ok {
				y.within(name+" "+col, got, want, half(r[col]))
			}
		}
		check("d_mm", th.Major*1e3)
		check("P_mm", th.Pitch*1e3)
		check("d2_mm_formula", th.PitchDiameter()*1e3)
		check("D1_d1_mm_formula", th.InternalMinor()*1e3)
		check("d3_mm_formula", th.RootDiameter()*1e3)
		check("As_mm2_formula", th.StressArea()*1e6)
		check("As_mm2_table", th.StressArea()*1e6)
		check("As_mm2_table2", th.StressArea()*1e6)
		if read := r["d2_d3_D1_read"]; read != "" {
			for i, s := range strings.Split(read, "; ") {
				got := [...]float64{th.PitchDiameter(), th.RootDiameter(), th.InternalMinor()}[i] * 1e3
				y.within(name+" read", got, number(s), half(s))
			}
		}
		if want := map[string]Series{"coarse": Coarse, "fine": Fine}[r["series"]]; th.Series != want {
			t.Errorf("%s: series %v, table %s", name, th.Series, r["series"])
		}
	}
}

// Exact to the micrometre the table is printed to.
func metricLimits(t *testing.T, y *tally) {
	y.disagrees("M33 ext_6g_major_max", "the table's row has es = 32 µm, that of P 1.5, where ISO 965-1 and its own M30 row have 53 µm")
	y.disagrees("M33 ext_6g_major_min", "as its maximum")
	y.disagrees("M33 ext_6g_pitch_max", "as the major diameter")
	y.disagrees("M33 ext_6g_pitch_min", "as the major diameter")
	for _, r := range rows(t, "metric_threads") {
		y.row()
		l := parse(t, r["designation"]).Limits()
		for _, c := range []struct {
			col string
			got float64
		}{
			{"ext_6g_major_max", l.ExternalMajorMax}, {"ext_6g_major_min", l.ExternalMajorMin}, {"ext_6g_pitch_max", l.ExternalPitchMax}, {"ext_6g_pitch_min", l.ExternalPitchMin},
			{"int_6H_minor_min", l.InternalMinorMin}, {"int_6H_minor_max", l.InternalMinorMax}, {"int_6H_pitch_min", l.InternalPitchMin}, {"int_6H_pitch_max", l.InternalPitchMax},
		} {
			if want, ok := r.num(t, c.col); ok {
				y.within(r["designation"]+" "+c.col, c.got*1e3, want, 1e-6)
			}
		}
	}
}

// Tolerance: half of the last printed digit; one whole digit for the minor area,
// which tables print from 1.3 or 1.2990 or from the rounded diameter.
func unifiedAreas(t *testing.T, y *tally) {
	y.disagrees("5/16-18 UNC Ar_minor_area_in2_table", "printed 0.0455 where the formula, in the table too, gives 0.0453")
	for _, r := range rows(t, "unified_threads") {
		y.row()
		name := r["designation"]
		th := parse(t, name)
		if th.String() != name {
			t.Errorf("%s prints as %s", name, th)
		}
		if want, ok := r.num(t, "d_in"); ok {
			y.within(name+" d", th.Major/inch, want, 1e-9)
		}
		for _, c := range []struct {
			col   string
			got   float64
			times float64
		}{
			{"At_in2_table", th.StressArea(), 1}, {"At_in2_formula", th.StressArea(), 2}, {"Ar_minor_area_in2_table", th.RootArea(), 2},
		} {
			if want, ok := r.num(t, c.col); ok {
				y.within(name+" "+c.col, c.got/inch/inch, want, c.times*half(r[c.col]))
			}
		}
	}
}

// Tolerance: one unit of the last printed digit: B1.1 rounds each tolerance before
// it adds them up, this package rounds once.
func unifiedLimits(t *testing.T, y *tally) {
	y.disagrees("1/4-20 UNC int_2B_pitch_max", "printed 0.2248 where the formula gives 0.2224; the table's own strip area 0.1295 made with it misses the printed 0.135, with 0.2224 it does not")
	for _, r := range rows(t, "unified_threads") {
		y.row()
		l := parse(t, r["designation"]).Limits()
		for _, c := range []struct {
			col string
			got float64
		}{
			{"ext_2A_major_min", l.ExternalMajorMin}, {"ext_2A_pitch_min", l.ExternalPitchMin}, {"int_2B_minor_max", l.InternalMinorMax}, {"int_2B_pitch_max", l.InternalPitchMax},
		} {
			want, ok := r.num(t, c.col)
			if !ok {
				continue
			}
			tol := 1e-4
			if c.col == "int_2B_minor_max" {
				tol = 1e-3 // printed to three places
			}
			y.within(r["designation"]+" "+c.col, c.got/inch, want, tol)
		}
	}
}

// Exact: the table's minimum values are the package's.
func classes(t *testing.T, y *tally) {
	for _, r := range rows(t, "metric_classes") {
		y.row()
		unit, class := mpa, r["class"]
		th := parse(t, "M10")
		switch {
		case strings.HasPrefix(r["standard"], "SAE"):
			unit, class = ksi, "grade "+class
			th = parse(t, "1/2-13")
			if strings.HasPrefix(r["size_from"], ">") {
				th = parse(t, "1-1/8-7") // the row for the larger sizes
			}
		case strings.HasPrefix(r["size_from"], "16"):
			th = parse(t, "M18")
		}
		class, _, _ = strings.Cut(class, " /")
		class = strings.ReplaceAll(class, "A8/D-100", "A8-100")
		g := grade(t, class, th)
		for _, c := range []struct {
			col string
			got float64
		}{{"Rm_min", g.Tensile}, {"yield_min", g.Yield}, {"proof_stress_Sp", g.Proof}} {
			if want, ok := r.num(t, c.col); ok {
				y.within(r["class"]+r["size_from"]+" "+c.col, c.got/unit, want, 1e-9)
			}
		}
	}
}

// Tolerance: the table is As (three digits) × Rm, printed with three digits, so it
// is half of its third digit plus half of the area's third digit off.
func ultimateLoads(t *testing.T, y *tally) {
	y.disagrees("M4 10.9", "printed 91130, a misprint for 9130 (note in the table)")
	y.disagrees("M39 12.9", "printed 1200000, two digits, where every other row has three (1190000)")
	for _, r := range rows(t, "metric_ultimate_loads") {
		y.row()
		th := parse(t, r["thread"])
		g := grade(t, r["class"], th)
		want, _ := r.num(t, "min_ultimate_tensile_load_N")
		area := th.StressArea() * 1e6
		y.within(r["thread"]+" "+r["class"], g.Tensile*th.StressArea(), want, third(want)+third(area)*g.Tensile/1e6)
	}
}

func nutPairs(t *testing.T, y *tally) {
	for _, r := range rows(t, "nut_classes") {
		bolt := r["highest_mating_bolt_class"]
		if strings.HasPrefix(r["standard"], "ISO 898-6") {
			y.skip("ISO 898-6 fine-pitch proof stresses, OCR of low quality, not carried")
			continue
		}
		y.row()
		n, err := ParseNutClass(r["nut_class"])
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(bolt, "no bolt class") {
			c, ok := n.Carries(grade(t, "4.6", parse(t, "M10")))
			y.holds("thin nut "+n.Name+" carries no bolt class", n.Thin && ok && !c)
			continue
		}
		bolt, _, _ = strings.Cut(bolt, " ") // "6.8 or lower"
		c, ok := n.Carries(grade(t, bolt, parse(t, "M10")))
		y.holds("nut "+n.Name+" carries "+bolt, ok && c)
		if r["standard"] == "BS 3692" {
			y.within("proof stress of nut "+n.Name, n.Stress/mpa, 100*number(n.Name), 1e-9)
		}
	}
	for _, c := range []struct{ nut, bolt string }{{"8", "10.9"}, {"10", "12.9"}, {"6", "8.8"}, {"4", "5.6"}} {
		n, err := ParseNutClass(c.nut)
		if err != nil {
			t.Fatal(err)
		}
		carries, ok := n.Carries(grade(t, c.bolt, parse(t, "M10")))
		y.holds("nut "+c.nut+" is too weak for "+c.bolt, ok && !carries)
	}
}

// Tolerance: 0.65 % or half of the third digit, whichever is more: the table works
// from areas rounded to as few as two digits (M3 5 mm², M6 20 mm²).
func nutLoads(t *testing.T, y *tally) {
	const coarse = "the print rounds to a whole or half kilonewton, and downwards"
	y.disagrees("M8 8", coarse)
	y.disagrees("M8 12", "printed 43000 where 1200 MPa gives 43930; "+coarse)
	y.disagrees("M10 8", coarse)
	y.disagrees("M12 12", coarse)
	y.disagrees("M18 5", "printed 98000 where 500 MPa gives 96200; it is M20's class 4 value")
	for _, r := range rows(t, "nut_proof_loads") {
		y.row()
		th := parse(t, r["thread"])
		n, err := ParseNutClass(r["nut_class"])
		if err != nil {
			t.Fatal(err)
		}
		want, _ := r.num(t, "proof_load_N")
		y.within(r["thread"]+" "+n.Name, n.ProofLoad(th), want, math.Max(0.0065*want, third(want)))
	}
}
