package printedpairdisagrees

import (
	"testing"

	"proofload/specdata"
)

// TestPrintedPairs holds the intervals against pairs that US Army manuals print,
// lbf·ft beside N·m (public domain; read as stored extracts, some by OCR).
func TestPrintedPairs(t *testing.T) {
	for _, m := range []struct {
		source string
		pairs  [][2]string
	}{
		{"TB 9-3950-253-13&P", [][2]string{{"30", "41"}}},
		{"TM 10-4320-344-24", [][2]string{{"20", "27"}, {"10", "14"}, {"90", "122"}}},
		{"TM 9-2320-387-24-1", [][2]string{{"70", "95"}}},
		{"TM 9-2320-280-20-2", [][2]string{{"25", "34"}, {"35", "47"}, {"85", "115"}, {"125", "170"}, {"55", "75"}, {"65", "88"}}},
		{"TM 9-2320-364-20-5", [][2]string{{"150", "203"}, {"200", "271"}, {"80", "108"}, {"90", "122"}, {"50", "68"}, {"60", "81"}}},
		{"TM 10-3930-660-24-2", [][2]string{{"250", "339"}}},
		{"TM 9-2330-238-14", [][2]string{{"400", "542"}, {"425", "576"}, {"325", "440"}, {"355", "481"}}},
		{"TM 10-3930-669-20", [][2]string{{"29.5", "40"}, {"59", "80"}, {"66", "90"}, {"21", "28"}, {"7", "10"}}},
		{"TM 10-3930-664-24", [][2]string{{"192", "260"}}},
		{"TM 9-2320-362-14&P", [][2]string{{"113", "153"}, {"176", "239"}, {"343", "465"}, {"207", "281"}, {"399", "541"}}},
	} {
		for _, pair := range m.pairs {
			ft, nm := specdata.MustQuantity(pair[0]+" lbf.ft"), specdata.MustQuantity(pair[1]+" N.m")
			if !ft.Agree(nm) || !nm.Agree(ft) {
				t.Errorf("%s prints %s lbf·ft (%s N·m); the intervals %s and %s do not overlap", m.source, pair[0], pair[1], interval(ft), interval(nm))
			}
		}
	}
}

// TestPairsThatMustNotPass: the loosely rounded pair of TM 10-3930-664-24 and four
// slips of the trade (common practice, no source).
func TestPairsThatMustNotPass(t *testing.T) {
	for _, pair := range [][2]string{
		{"215 lbf.ft", "290 N.m"}, {"110 N.m", "110 lbf.ft"}, {"8 N.m", "8 lbf.ft"}, {"81 N.m", "110 lbf.ft"}, {"62 N.m", "46 lbf.in"},
	} {
		if specdata.MustQuantity(pair[0]).Agree(specdata.MustQuantity(pair[1])) {
			t.Errorf("%s and %s pass", pair[0], pair[1])
		}
	}
}
