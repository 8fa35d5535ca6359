package demo_test

import (
	"encoding/csv"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/joint"
	"proofload/specdata/library"
)

func load(t *testing.T) *library.Memory {
	t.Helper()
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func each[R specdata.Record](l library.Library, k specdata.Kind) []R {
	var rs []R
	for e := range l.All(k) {
		rs = append(rs, e.Record.(R))
	}
	return rs
}

func fasteners(l library.Library) []*specdata.Fastener {
	return each[*specdata.Fastener](l, specdata.KindFastener)
}

func TestSize(t *testing.T) {
	l := load(t)
	makes := map[string]bool{}
	for _, v := range each[*specdata.Vehicle](l, specdata.KindVehicle) {
		makes[v.Make] = true
	}
	for _, c := range []struct {
		what       string
		got, least int
	}{
		{"vehicles", len(each[*specdata.Vehicle](l, specdata.KindVehicle)), 7},
		{"makes", len(makes), 4},
		{"fasteners", len(fasteners(l)), 200},
		{"assemblies", len(each[*specdata.Assembly](l, specdata.KindAssembly)), 9},
		{"procedures", len(each[*specdata.Procedure](l, specdata.KindProcedure)), 8},
		{"sources", len(each[*specdata.Source](l, specdata.KindSource)), 8},
	} {
		if c.got < c.least {
			t.Errorf("%d %s, want %d or more", c.got, c.what, c.least)
		}
	}
	if _, err := fs.Stat(demo.Files, library.Marker); err != nil {
		t.Errorf("the folder lacks its marker: %v", err)
	}
}

// TestVariety holds the library to every way of fastening that rules and screens
// have to show.
func TestVariety(t *testing.T) {
	seen := map[string]int{}
	for _, f := range fasteners(load(t)) {
		seen["joint "+string(f.Joint)]++
		if f.Seat != nil {
			seen["seat "+f.Seat.Form]++
		}
		if f.Stud != nil {
			seen["stud "+f.Stud.Held]++
		}
		if c := f.Clamped; c != nil {
			seen["clamped "+c.Of]++
			if c.Painted {
				seen["painted"]++
			}
			if !c.Rise.IsZero() {
				seen["warming"]++
			}
		}
		for _, drive := range []string{f.Drive.Head, f.Drive.Nut} {
			form, _, _ := strings.Cut(drive, " ")
			seen["drive "+form]++
		}
		if len(f.Tightening.And) > 0 {
			seen["states at once"]++
		}
		seen["state "+string(f.Tightening.State)]++
		seen["drag "+f.Tightening.Drag]++
		seen["impact "+f.Tightening.Impact]++
		seen["reuse "+f.Reuse.Rule]++
		if f.Lock != nil {
			seen["lock "+f.Lock.By]++
		}
		if f.Thread != nil {
			seen["hand "+f.Thread.Hand]++
			seen["into "+f.Thread.Into]++
			if strings.Contains(f.Thread.Designation, " UN") {
				seen["unified thread"]++
			}
			for _, word := range strings.Fields(f.Thread.Designation) {
				seen["thread "+word]++
			}
			for name, q := range map[string]specdata.Quantity{"bore": f.Thread.Bore, "hole": f.Thread.Hole} {
				if !q.IsZero() {
					seen[name]++
				}
			}
			if f.Thread.Captive != "" {
				seen["captive nut"]++
			}
		}
		if f.Surface != nil {
			seen["surface "+f.Surface.Condition]++
		}
		if f.Tightening.Pattern != nil {
			seen["pattern "+f.Tightening.Pattern.Order]++
		}
		for _, s := range f.Tightening.Stages {
			switch {
			case !s.Rolling.IsZero():
				seen["stage rolling"]++
			case s.Slacken:
				seen["stage slacken"]++
			case !s.Angle.IsZero():
				seen["stage angle"]++
			case s.Seat != "":
				seen["stage seat"]++
			case !s.UpTo.IsZero():
				seen["stage range"]++
			}
		}
		for _, a := range f.AppliesTo {
			seen["side "+string(a.Side)]++
			if !a.Built.Whole() {
				seen["build range"]++
			}
			if len(a.Where) > 0 {
				seen["options"]++
			}
		}
		if f.Safety != "" {
			seen["safety "+f.Safety]++
		}
	}
	want := []string{
		"state any", "state on-ground", "state ride-height", "state cold", "state loaded",
		"drag included", "drag not-applicable", "impact never", "impact removal-only", "impact allowed",
		"reuse reuse", "reuse replace", "reuse replace-if-loosened", "reuse measure",
		"lock insert", "lock deformed-thread", "lock pin", "lock stake", "lock tab", "lock washer", "lock compound",
		"hand left", "hand right", "into steel", "into cast-iron", "into aluminium", "into brass", "into plastic", "into insert", "into nut", "unified thread",
		"surface dry", "surface oiled", "surface greased", "surface precoated", "surface threadlock", "surface compound",
		"pattern cross", "pattern star", "pattern sequence", "pattern centre-out", "pattern circle", "pattern one",
		"seat flange", "seat washer", "seat cone", "seat ball", "stud screwed", "stud pressed", "stud welded", "clamped aluminium", "painted", "warming", "bore", "hole", "captive nut",
		"thread G", "thread R", "thread NPT", "thread UNS", "thread BSF", "thread BA", "drive multi-spline", "drive square", "drive slotted-ring", "drive two-pin",
		"drag add", "lock patch", "states at once", "stage rolling",
		"stage slacken", "stage angle", "stage seat", "stage range",
		"side left", "side right", "side each", "side centre", "build range", "options",
		"safety wheel", "safety brake", "safety steering", "safety suspension", "safety restraint", "safety seat", "safety tow", "safety fuel",
	}
	for _, k := range specdata.JointKinds {
		want = append(want, "joint "+string(k))
	}
	for _, w := range want {
		if seen[w] == 0 {
			t.Errorf("no fastener shows %q", w)
		}
	}
}

func TestReferencesResolve(t *testing.T) {
	l := load(t)
	for _, k := range specdata.Kinds {
		for e := range l.All(k) {
			for _, r := range specdata.References(e.Record) {
				if l.Get(r.Name) == nil {
					t.Errorf("%s%s names %s, which does not exist", e.Name(), r.Pointer, r.Name)
				}
			}
		}
	}
}

// TestEveryValueHasTwoPairsOfEyes holds fasteners to a source whose reader and
// checker are two people (common practice, no source).
func TestEveryValueHasTwoPairsOfEyes(t *testing.T) {
	for _, f := range fasteners(load(t)) {
		s := f.Source
		if s == nil || s.At == "" || s.Quote == "" || s.EnteredBy == "" || s.CheckedBy == "" {
			t.Errorf("%s: source %+v is incomplete", f.ID, s)
		} else if s.EnteredBy == s.CheckedBy {
			t.Errorf("%s: %s checked the own entry", f.ID, s.EnteredBy)
		}
	}
}

// TestVINCheckDigits recomputes the check digits with the values and weights of
// 49 CFR 565.15, tables III and IV, as testdata/reference/vehicle_ids.csv has them.
func TestVINCheckDigits(t *testing.T) {
	values, weights := vinTables(t)
	digit := func(vin string) string {
		sum := 0
		for i, c := range vin {
			v, ok := values[string(c)]
			if !ok {
				t.Fatalf("%s: %q has no value in table III (no I, O, Q: ISO 3779)", vin, c)
			}
			sum += v * weights[i]
		}
		return strings.ReplaceAll(strconv.Itoa(sum%11), "10", "X")
	}
	// The well-known test strings of the reference file.
	if digit("11111111111111111") != "1" || digit("ABCDEFGHJKLMNPRST") != "1" {
		t.Fatal("the arithmetic of this test is wrong")
	}
	checked := 0
	for _, v := range each[*specdata.Vehicle](load(t), specdata.KindVehicle) {
		if v.VIN == nil {
			continue
		}
		if len(v.VIN.Example) != 17 {
			t.Errorf("%s: example %q has not 17 characters (ISO 3779)", v.ID, v.VIN.Example)
			continue
		}
		want := digit(v.VIN.Example)
		if pos, fits := specdata.FitsVINPattern(v.VIN.Example, v.VIN.Pattern); !fits {
			t.Errorf("%s: example %s leaves its pattern %s at position %d", v.ID, v.VIN.Example, v.VIN.Pattern, pos)
		}
		if v.VIN.CheckDigit {
			checked++
			if got := v.VIN.Example[8:9]; got != want {
				t.Errorf("%s: check digit of %s is %s, 49 CFR 565 gives %s", v.ID, v.VIN.Example, got, want)
			}
		}
	}
	if checked == 0 {
		t.Error("no vehicle has a check digit")
	}
}

func vinTables(t *testing.T) (values map[string]int, weights [17]int) {
	t.Helper()
	file, err := os.Open("../../testdata/reference/vehicle_ids.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	values = map[string]int{}
	for d := range 10 {
		values[strconv.Itoa(d)] = d
	}
	for _, row := range rows {
		n, err := strconv.Atoi(row[1])
		if err != nil {
			continue
		}
		if letter, ok := strings.CutPrefix(row[0], "transliteration "); ok && len(letter) == 1 {
			values[letter] = n
		}
		if at, ok := strings.CutPrefix(row[0], "weight position "); ok {
			i, err := strconv.Atoi(at)
			if err != nil || i < 1 || i > 17 {
				t.Fatalf("weight row %v", row)
			}
			weights[i-1] = n
		}
	}
	if len(values) != 33 {
		t.Fatalf("%d characters have a value, want 10 digits and 23 letters", len(values))
	}
	return values, weights
}

// TestJointsArePlausible holds clamp and wheel joints under yield at the top of
// their tolerance and over 35 % of the proof load (VDI 2230 arithmetic of package
// joint; the lower bound is common practice, no source).
func TestJointsArePlausible(t *testing.T) {
	for _, f := range fasteners(load(t)) {
		in, unread := joint.FromFastener(f)
		if len(unread) > 0 {
			t.Errorf("%s: %v", f.ID, unread)
		}
		v := joint.Judge(in)
		if v.Class > joint.Good {
			t.Errorf("%s: %s", f.ID, v.Summary())
		}
		if v.Stripping.MayStrip {
			t.Errorf("%s: the tapped thread may strip at %v engagement", f.ID, f.Thread.Engagement)
		}
		if v.Nut.Checked && !v.Nut.Pairs && !in.Nut.Thin {
			t.Errorf("%s: the nut is weaker than the bolt", f.ID)
		}
		if f.Joint != specdata.JointClamp && f.Joint != specdata.JointWheel {
			continue
		}
		if top := v.YieldHigh * (1 + in.Tolerance); top > 1 {
			t.Errorf("%s: the top of the tolerance loads the bolt to %.0f %% of its yield", f.ID, 100*top)
		}
		if in.Angle == 0 && v.Class != joint.Good && !in.Bolt.IsZero() {
			t.Errorf("%s: %s", f.ID, v.Summary())
		}
		if v.Turn.Passing != joint.StaysElastic && f.Reuse.Rule == "reuse" {
			t.Errorf("%s: turned past yield and used again", f.ID)
		}
	}
}

func TestProceduresClose(t *testing.T) {
	l := load(t)
	for _, p := range each[*specdata.Procedure](l, specdata.KindProcedure) {
		r := dryrun.Run(l, p)
		if len(r.Outcomes) == 0 {
			t.Errorf("%s covers no vehicle", p.ID)
		}
		for _, problem := range r.Problems() {
			t.Errorf("%s%s: %s", p.ID, problem.Pointer, problem.Message())
		}
	}
}

// TestNewPiecesAreOrdered counts the pieces that each procedure fits new and
// compares them with its order list.
func TestNewPiecesAreOrdered(t *testing.T) {
	l := load(t)
	for _, p := range each[*specdata.Procedure](l, specdata.KindProcedure) {
		for _, o := range dryrun.Run(l, p).Outcomes {
			need := map[string]int{}
			for _, a := range o.Acts {
				if !a.New {
					continue
				}
				typ, id := a.Target.Split()
				n := 1
				if typ == "fastener" {
					n = library.Fastener(l, id).Count
				}
				need[string(a.Target)] += n
			}
			have := map[string]int{}
			for _, n := range p.Parts {
				if n.Fastener != "" {
					have["fastener:"+n.Fastener] += n.Quantity
				} else {
					have["part:"+n.Part] += n.Quantity
				}
			}
			for k, n := range need {
				if have[k] != n {
					t.Errorf("%s (%s): %d of %s fitted new, %d on the order list", p.ID, o.Variant, n, k, have[k])
				}
			}
			for k, n := range have {
				if need[k] == 0 {
					t.Errorf("%s (%s): %d of %s ordered and never fitted", p.ID, o.Variant, n, k)
				}
			}
		}
	}
}

// TestToolsReach compares every tightening with the wrench its step names and the
// sizes on the tool list.
func TestToolsReach(t *testing.T) {
	l := load(t)
	for _, p := range each[*specdata.Procedure](l, specdata.KindProcedure) {
		for _, o := range dryrun.Run(l, p).Outcomes {
			for _, u := range o.Torques {
				tool := toolOf(p, u.Act.Tool)
				for _, i := range u.Stages {
					q := u.Fastener.Tightening.Stages[i].Torque
					if q.IsZero() {
						continue
					}
					if tool == nil || tool.Kind != "torque-wrench" {
						t.Errorf("%s: %s tightens %s without a torque wrench", p.ID, u.Act.Step.ID, u.Fastener.ID)
						continue
					}
					w := joint.Wrench{Min: tool.From.SI(), Max: tool.To.SI()}
					if s := w.Suits(q.SI()); s == joint.OffScale || s == joint.BelowProved {
						t.Errorf("%s: %s is %s of %s", p.ID, q, s, tool.ID)
					}
				}
				d := u.Fastener.Drive
				size := d.Head
				if d.Turn == "nut" {
					size = d.Nut
				}
				if size != "knurled" && !slices.ContainsFunc(p.Tools, func(t specdata.Tool) bool { return t.Size == size && t.Kind != "spanner" }) {
					t.Errorf("%s: no tool for %s of %s", p.ID, size, u.Fastener.ID)
				}
			}
		}
	}
}

func toolOf(p *specdata.Procedure, id string) *specdata.Tool {
	for i := range p.Tools {
		if p.Tools[i].ID == id {
			return &p.Tools[i]
		}
	}
	return nil
}

func TestNotice(t *testing.T) {
	for _, w := range []string{"invented", "not use it on any vehicle", "maker's own information", "local codes", "licensed practice"} {
		if !strings.Contains(demo.Notice, w) {
			t.Errorf("the notice does not say %q", w)
		}
	}
}
