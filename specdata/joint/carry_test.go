package joint

import (
	"strings"
	"testing"
)

// TestDriveLimitsOutside holds the wrench openings against the rows of ISO 1711-1
// in testdata/reference/tools.csv (a tool maker's tables).
func TestDriveLimitsOutside(t *testing.T) {
	compared := 0
	for _, r := range rows(t, "tools") {
		size, ok := strings.CutPrefix(r["fact"], "test torque, wrench across-flats ")
		if !ok {
			continue
		}
		compared++
		want := number(strings.Fields(r["value"])[0])
		got, _, ok := DriveLimit("hex " + size)
		if !ok || got != want {
			t.Errorf("hex %s carries %.4g N·m, %v; the table has %.4g", size, got, ok, want)
		}
	}
	if compared < 10 {
		t.Errorf("only %d rows were compared", compared)
	}
}

func TestDriveLimit(t *testing.T) {
	for _, c := range []struct {
		drive string
		want  float64
		ok    bool
	}{
		{"hexalobular T30", 31.1, true}, // ISO 10664, from memory
		{"hex-key 5 mm", 30, true},      // ISO 2936, from memory
		{"hex 18 mm", 261, true},        // the next larger opening speaks
		{"hex 9/16 in", 150, true},      // 14.3 mm
		{"hex 75 mm", 0, false},
		{"hexalobular T31", 0, false},
		{"external-hexalobular E12", 0, false},
		{"knurled", 0, false},
		{"", 0, false},
	} {
		got, _, ok := DriveLimit(c.drive)
		if got != c.want || ok != c.ok {
			t.Errorf("drive %q carries %v, %v; want %v, %v", c.drive, got, ok, c.want, c.ok)
		}
	}
}

// TestDriveLimitsRise: a larger drive never carries less.
func TestDriveLimitsRise(t *testing.T) {
	for i := 1; i < len(recesses); i++ {
		if recesses[i].torque <= recesses[i-1].torque {
			t.Errorf("%s carries no more than %s", recesses[i].size, recesses[i-1].size)
		}
	}
	for i := 1; i < len(hexKeys); i++ {
		if hexKeys[i].mm <= hexKeys[i-1].mm || hexKeys[i].torque <= hexKeys[i-1].torque {
			t.Errorf("the key of %v mm carries no more than that of %v mm", hexKeys[i].mm, hexKeys[i-1].mm)
		}
	}
	for i := 1; i < len(openings); i++ {
		if openings[i].mm <= openings[i-1].mm || openings[i].torque <= openings[i-1].torque {
			t.Errorf("the opening of %v mm carries no more than that of %v mm", openings[i].mm, openings[i-1].mm)
		}
	}
}
