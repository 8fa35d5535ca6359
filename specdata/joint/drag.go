package joint

import "fmt"

// Drag is the prevailing torque of a self-locking nut, in N·m: what it takes to
// turn it on the thread before it seats.
type Drag struct {
	FirstOnMax  float64 // most while first run on
	FirstOffMin float64 // least at first removal
	FifthOffMin float64 // least at fifth removal; a nut under it is scrap
}

// isoDrag is ISO 2320, classes 5, 6, 8 and 10 (from memory; the rows in
// testdata/reference/prevailing_torque.csv are from memory too).
var isoDrag = []struct {
	mm float64
	Drag
}{
	{3, Drag{0.43, 0.12, 0.08}}, {4, Drag{0.9, 0.18, 0.12}}, {5, Drag{1.6, 0.29, 0.2}}, {6, Drag{3, 0.45, 0.3}}, {8, Drag{6, 0.85, 0.6}},
	{10, Drag{10.5, 1.5, 1}}, {12, Drag{15.5, 2.3, 1.6}}, {14, Drag{24, 3.3, 2.3}}, {16, Drag{32, 4.5, 3}}, {18, Drag{42, 6, 4.2}},
	{20, Drag{54, 7.5, 5.3}}, {22, Drag{68, 9.5, 6.5}}, {24, Drag{80, 11.5, 8}}, {27, Drag{94, 13.5, 10}}, {30, Drag{108, 16, 12}},
	{33, Drag{122, 18, 14}}, {36, Drag{136, 21, 16}}, {39, Drag{150, 23, 18}},
}

// inchDrag is the least breakaway torque of a used self-locking nut in lbf·in
// (US Army TM 1-1500-204-23-6 table 2-8, with TM 55-1520-240-23-1 for #8-32), and
// the most locking torque of a new one (NASM25027, from memory; 0 where not known).
var inchDrag = []struct {
	size, tpi  string
	least, max float64
}{
	{"#8", "32", 1.5, 0}, {"#10", "32", 2, 18}, {"5/16", "24", 6.5, 60}, {"3/8", "16", 12, 0}, {"7/16", "20", 14, 100}, {"1/2", "13", 24, 0},
	{"9/16", "18", 24, 200}, {"5/8", "11", 40, 0}, {"3/4", "16", 50, 400}, {"7/8", "9", 82, 0}, {"1", "12", 90, 800}, {"1-1/8", "7", 137, 0},
	{"1-1/4", "12", 143, 0}, {"1-3/8", "6", 200, 0}, {"1-1/2", "12", 210, 0},
}

// PoundInch is one lbf·in in N·m (NIST SP 811).
const PoundInch = 0.45359237 * 9.80665 * inch

// PrevailingTorque is the prevailing torque of a self-locking nut: ISO 2320 for
// metric sizes, whatever the pitch; for unified ones the least breakaway torque at
// which US Army manuals let a nut be used again, as both FirstOffMin and
// FifthOffMin. Sizes the tables do not have are an error; FirstOnMax is 0 where it
// is not known.
func PrevailingTorque(t Thread) (Drag, error) {
	if t.Metric() {
		for i := range isoDrag {
			if r := &isoDrag[i]; near(r.mm*millimetre, t.Major) {
				return r.Drag, nil
			}
		}
		return Drag{}, fmt.Errorf("prevailing torque of %s is not in ISO 2320; it has the coarse sizes M3 to M39", t.Size())
	}
	for i := range inchDrag {
		if r := &inchDrag[i]; t.Unified() && r.size == t.size && r.tpi == t.step {
			return Drag{r.max * PoundInch, r.least * PoundInch, r.least * PoundInch}, nil
		}
	}
	return Drag{}, fmt.Errorf("prevailing torque of %s is in none of the tables at hand; measure it while running the nut down", t)
}

// encapsulated is the most torque in N·m that it takes to run in a bolt with compound in
// capsules on its thread, by diameter in mm (DIN 267-27, from memory).
var encapsulated = []struct{ mm, most float64 }{
	{5, 1}, {6, 1.5}, {8, 3}, {10, 5.5}, {12, 7.5}, {14, 11}, {16, 14}, {18, 19}, {20, 22}, {22, 28}, {24, 32},
}

// RunInTorque is the most torque in N·m that it takes to run in a new piece that locks
// by its thread, by how it locks in the words of specdata.Lock.By: a nut with an insert
// or a deformed thread by ISO 2320 (NASM25027 in inches), a bolt with a patch of plastic
// by DIN 267-28, which has the same figures (from memory), one with compound in capsules
// by DIN 267-27. It is an error where no table has the size, and 0 for any other lock.
func RunInTorque(by string, t Thread) (float64, error) {
	switch by {
	case "insert", "deformed-thread", "patch":
		d, err := PrevailingTorque(t)
		if err == nil && d.FirstOnMax == 0 {
			err = fmt.Errorf("the most prevailing torque of %s is in none of the tables at hand; measure it while running it in", t)
		}
		return d.FirstOnMax, err
	case "micro-encapsulated":
		for i := range encapsulated {
			if r := &encapsulated[i]; t.Metric() && near(r.mm*millimetre, t.Major) {
				return r.most, nil
			}
		}
		return 0, fmt.Errorf("the run-in torque of %s with compound in capsules is not in DIN 267-27; it has M5 to M24 here", t)
	}
	return 0, nil
}

// runDownShare is the share of the torque under which a run-down torque is ignored
// (US Army TB 43-0218 section 7c).
const runDownShare = 1.0 / 3

// Reading is the torque in N·m to read on the wrench for a torque meant for a
// free-running nut when the run-down torque is measured. Under a third of the
// torque, US Army TB 43-0218 section 7c ignores it.
func Reading(torque, runDown float64) float64 {
	if runDown < torque*runDownShare {
		return torque
	}
	return torque + runDown
}

// near compares two lengths in m that come from printed sizes.
func near(a, b float64) bool { return a-b < 1e-7 && b-a < 1e-7 }
