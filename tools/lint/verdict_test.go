package lint

import (
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/library"
)

func TestTorqueWords(t *testing.T) {
	for _, c := range []struct{ q, want string }{
		// NIST SP 811: 1 lbf·ft = 1.355 818 N·m, 1 kgf·m = 9.806 65 N·m.
		{"62 N.m", "62 N·m (46 lbf·ft)"},
		{"80 lbf.in", "9 N·m (80 lbf·in)"},
		{"11 kgf.m", "11 kgf·m, 108 N·m (80 lbf·ft)"},
	} {
		if got := Torque(specdata.MustQuantity(c.q)); got != c.want {
			t.Errorf("%s is worded %q; want %q", c.q, got, c.want)
		}
	}
	for _, c := range []struct {
		nm   float64
		want string
	}{
		{0.9996, "1 N·m (9 lbf·in)"}, {9.04, "9 N·m (80 lbf·in)"}, {15.4, "15.5 N·m (11 lbf·ft)"}, {129.6, "130 N·m (96 lbf·ft)"}, {1e12, "1000000000000 N·m"},
	} {
		if got := NewtonMetres(c.nm); got != c.want {
			t.Errorf("%v N·m is worded %q; want %q", c.nm, got, c.want)
		}
	}
}

func torques(values ...string) *specdata.Tightening {
	t := &specdata.Tightening{}
	for _, v := range values {
		if v == "" {
			t.Stages = append(t.Stages, specdata.Stage{Slacken: true})
			continue
		}
		t.Stages = append(t.Stages, specdata.Stage{Torque: specdata.MustQuantity(v)})
	}
	return t
}

func TestHighestStage(t *testing.T) {
	for _, c := range []struct {
		stages *specdata.Tightening
		want   int
	}{
		{torques("60 N.m", "", "40 N.m"), 0},
		{torques("40 N.m", "40 lbf.ft"), 1},
		{torques("60 N.m", "60 N.m"), 1},
		{torques(""), -1},
	} {
		if got := HighestStage(c.stages); got != c.want {
			t.Errorf("highest stage of %s is %d; want %d", c.stages, got, c.want)
		}
	}
}

func TestMedian(t *testing.T) {
	for _, c := range []struct {
		xs   []float64
		want float64
	}{{[]float64{3, 1, 2}, 2}, {[]float64{4, 1, 3, 2}, 2.5}, {[]float64{7}, 7}} {
		if got := Median(c.xs); got != c.want {
			t.Errorf("median of %v is %v; want %v", c.xs, got, c.want)
		}
	}
}

func bolt(id, torque, class string) *library.Entry {
	f := &specdata.Fastener{
		Head: specdata.Head{Kind: specdata.KindFastener, ID: id}, Joint: specdata.JointClamp,
		Thread: &specdata.Thread{Designation: "M12x1.5", Hand: "right", Into: "steel"}, Drive: &specdata.Drive{Turn: "head", Head: "hex 18 mm"},
		Surface: &specdata.Surface{Condition: "dry"}, Tightening: torques(torque), Reuse: &specdata.Reuse{Rule: "reuse"},
	}
	if class != "" {
		f.Strength = &specdata.Strength{Bolt: class}
	}
	return &library.Entry{Record: f}
}

func pass(t *testing.T, e *library.Entry, others ...*library.Entry) *Pass {
	t.Helper()
	lib, err := library.NewMemory(append(others, e)...)
	if err != nil {
		t.Fatal(err)
	}
	return &Pass{Entry: e, Library: lib, rule: &Rule{Name: "a-rule", Severity: Error}}
}

func TestPeersAreOfOneClassAndByTorque(t *testing.T) {
	angled := bolt("c", "40 N.m", "10.9")
	f := angled.Record.(*specdata.Fastener)
	f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Angle: specdata.MustQuantity("90 deg")})
	p := pass(t, bolt("b", "115 N.m", "10.9"), bolt("a", "110 N.m", "10.9"), angled, bolt("d", "80 N.m", "8.8"), bolt("e", "120 N.m", "10.9"))
	var ids []string
	for _, o := range p.TorqueNeighbours() {
		ids = append(ids, o.Fastener().ID)
	}
	if got := strings.Join(ids, " "); got != "a e" {
		t.Errorf("neighbours of b are %q; want a and e", got)
	}
	if n := len(pass(t, bolt("b", "115 N.m", ""), bolt("a", "110 N.m", "")).TorqueNeighbours()); n != 0 {
		t.Errorf("a bolt of no stated class has %d neighbours", n)
	}
}

// TestVerdictIsMadeOnce: rules of one pass share it.
func TestVerdictIsMadeOnce(t *testing.T) {
	p := pass(t, bolt("b", "310 N.m", "10.9"))
	v := p.Verdict()
	if v != p.Verdict() || !v.Class.Impossible() {
		t.Errorf("verdict of 310 N·m on M12x1.5 10.9 is %s, or made twice", v.Class)
	}
	if got := Readings(v, specdata.MustQuantity("310 N.m")); !strings.Contains(got, "130 N·m (96 lbf·ft) if two digits changed places") {
		t.Errorf("readings of 310 N·m are %q", got)
	}
}

func TestUnjudgedNamesTheField(t *testing.T) {
	p := pass(t, bolt("b", "115 N.m", ""))
	if !p.Unjudged(joint.CheckYield) || len(p.skipped) != 1 || p.skipped[0].Pointer != "/strength/bolt" {
		t.Errorf("not checked: %+v; want one at /strength/bolt", p.skipped)
	}
	if p := pass(t, bolt("b", "115 N.m", "10.9")); p.Unjudged(joint.CheckYield) {
		t.Errorf("a whole record is not judged: %+v", p.skipped)
	}
}
