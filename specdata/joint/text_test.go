package joint

import (
	"math"
	"strings"
	"testing"
)

// The text of the design page's example, whole: it is what people read, so a
// change in it is meant to be seen.
func TestText(t *testing.T) {
	v := Judge(input(t, "", "M10x1.5", "8.8", "", "", 110))
	const want = `M10x1.5 8.8: 110 N·m breaks the bolt: even at µ 0.20 the bolt (8.8) yields at 75.2 N·m and reaches its tensile strength at 94 N·m

  joint                                    clamp         decides which limits apply
  thread                                   M10x1.5       ISO metric coarse
  diameter d                               10 mm         designation
  pitch P                                  1.5 mm        designation
  pitch diameter d2                        9.026 mm      d − 0.649519 P, ISO 724
  stress diameter ds                       8.593 mm      (d2 + d3)/2, ISO 898-1; D − 0.9743/n, ASME B1.1
  stress area As                           58 mm²        π/4 ds²
  bolt class                               8.8           ISO 898-1:2013 table 3
  least yield                              640 MPa       ISO 898-1:2013 table 3
  least tensile strength                   800 MPa       ISO 898-1:2013 table 3
  proof load                               33.6 kN       ISO 898-1:2013 table 3 × As
  friction                                 0.10 to 0.20  surface not stated: as received to dry assumed
  bearing diameter Db                      12.815 mm     (dw + dh)/2: drive not stated: standard hexagon (ISO 4014, ASME B18.2.1) assumed
  torque per clamp load, lowest friction   1.4 N·m/kN    P/2π + 0.577 d2 µ + Db/2 µ, VDI 2230 R13
  torque per clamp load, highest friction  2.56 N·m/kN   the same at µ 0.20
  nut factor K                             0.163         T = K d F, at the usual friction
  torque                                   110 N·m       as stated
  clamp load, highest friction             42.9 kN       T/(torque per clamp load), µ 0.20
  clamp load, lowest friction              78.5 kN       the same, µ 0.10
  clamp load, least                        41.2 kN       highest friction and ±4 % of the torque
  clamp load, most                         81.7 kN       lowest friction and the same
  tightening factor αA                     1.98          most over least clamp load, VDI 2230 R1
  share of proof load, lowest friction     234 %         clamp over proof load
  share of yield, mildest friction         146 %         √(σ² + 3τ²) over yield, fully plastic torsion, VDI 2230 R8, µ 0.20
  share of yield, hardest friction         233 %         the same, µ 0.10
  slack below                              7.07 N·m      15 % of proof load, at µ 0.10
  low below                                16.5 N·m      35 % of proof load, at µ 0.10
  high above                               42.5 N·m      90 % of yield, at µ 0.10
  may yield above                          48.8 N·m      90 % of yield at the usual friction, with 1 % for rounding, at µ 0.12
  over yield above                         75.2 N·m      yield of 8.8, at µ 0.20
  breaks above                             94 N·m        tensile strength of 8.8, at µ 0.20

not checked:
  nut against bolt: the nut's class is not stated (strength.nut)
  pressure under the head: what the head or nut presses on is not stated (seat.against)
  settling: the clamped length is not stated, so what settling costs is not known (thread.grip)

not part of this answer:
  loads in service: what pulls, bends or shakes the joint
  the force that closes a slit or bends a bolt before anything is clamped
  whether the clamped parts slip on each other, and fatigue
  gaskets, and parts that creep
  washers and heads that turn along, threads and seats that are worn, dirty or rusty
  heat beyond the warming stated
`
	if got := v.Text(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// Every verdict says its numbers and says them once in the summary's class.
func TestTextOfEveryClass(t *testing.T) {
	w := Judge(input(t, "clamp", "M12x1.5", "10.9", "hex 18 mm", "dry", 1)).Window
	for _, c := range []struct {
		torque float64
		want   Class
		says   string
	}{
		{w.Slack.Torque * 0.9, Slack, "is slack"}, {w.Low.Torque * 0.9, Low, "is low"}, {w.High.Torque * 0.9, Good, "is good"}, {w.High.Torque * 1.01, High, "is high"},
		{w.OverYield.Torque * 0.99, MayYield, "may yield"}, {w.OverYield.Torque * 1.01, OverYield, "is over yield"}, {w.Breaks.Torque * 1.01, Breaks, "breaks the bolt"}, {0, NotJudged, "no torque"},
	} {
		v := Judge(input(t, "clamp", "M12x1.5", "10.9", "hex 18 mm", "dry", c.torque))
		if v.Class != c.want || !strings.Contains(v.Summary(), c.says) || strings.Contains(v.Text(), "NaN") || strings.Contains(v.Text(), "Inf") {
			t.Errorf("%g N·m: %v: %s", c.torque, v.Class, v.Text())
		}
		for _, l := range v.Lines() {
			if l.Name == "" || l.Text == "" || strings.Contains(l.String(), "\n") || strings.TrimSpace(l.Text) != l.Text {
				t.Errorf("line %+v", l)
			}
		}
	}
	if v := Judge(Input{}); v.Lines() != nil || !strings.Contains(v.Text(), "without a thread") {
		t.Errorf("empty: %q", v.Text())
	}
}

func TestSignificant(t *testing.T) {
	for _, c := range []struct {
		x    float64
		want string
	}{{0, "0"}, {73.96, "74"}, {1234.5, "1234"}, {0.012345, "0.0123"}, {9.996, "10"}, {110, "110"}, {-2.5, "-2.5"}, {8.5, "8.5"}} {
		if got := significant(c.x); got != c.want && !(c.x == 1234.5 && got == "1235") {
			t.Errorf("%g prints as %s, want %s", c.x, got, c.want)
		}
	}
	if significant(math.NaN()) != "NaN" {
		t.Error("NaN is hidden")
	}
}
