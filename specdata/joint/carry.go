package joint

import "strings"

// recesses holds the torque in N·m that an internal hexalobular driver stands
// (ISO 10664, from memory: the lowest of the published bit tables).
var recesses = []struct {
	size   string
	torque float64
}{
	{"T6", 0.75}, {"T7", 1.4}, {"T8", 2.2}, {"T9", 2.8}, {"T10", 3.7}, {"T15", 6.4}, {"T20", 10.5}, {"T25", 15.9}, {"T27", 22.5},
	{"T30", 31.1}, {"T40", 54.1}, {"T45", 86}, {"T50", 132}, {"T55", 218}, {"T60", 379}, {"T70", 630}, {"T80", 943}, {"T90", 1334}, {"T100", 1843},
}

// hexKeys holds the torque in N·m that a hexagon key of a size in mm stands
// (ISO 2936:2001, from memory).
var hexKeys = []struct{ mm, torque float64 }{
	{1.5, 0.8}, {2, 1.9}, {2.5, 3.8}, {3, 6.6}, {4, 16}, {5, 30}, {6, 52}, {7, 80}, {8, 120}, {10, 220}, {12, 370}, {14, 590},
	{17, 980}, {19, 1360}, {22, 2110}, {24, 2750}, {27, 3910},
}

// openings holds the test torque in N·m of the strongest wrenches by opening in
// mm (ISO 1711-1, highest column, as testdata/reference/tools.csv has it).
var openings = []struct{ mm, torque float64 }{
	{4, 1.9}, {5.5, 14.4}, {7, 25.2}, {9, 45.4}, {11, 72.7}, {13, 107}, {15, 150}, {17, 201}, {19, 261}, {21, 330}, {23, 408}, {25, 496},
	{27, 594}, {30, 760}, {34, 1019}, {41, 1579},
}

// Screwdriver recesses and slots are turned by hand: common practice, no source.
const screwdriver = 15 // N·m

// DriveLimit is the most torque in N·m that a tool can bring through a drive as
// records name it ("hexalobular T30", "hex-key 5 mm", "hex 13 mm", "cross",
// "slot"), and where the limit comes from. It is false for forms and sizes no
// table at hand has.
func DriveLimit(drive string) (torque float64, from string, ok bool) {
	form, size := SplitDrive(drive)
	switch form {
	case "hexalobular":
		_, name, _ := strings.Cut(drive, " ")
		for i := range recesses {
			if recesses[i].size == name {
				return recesses[i].torque, "ISO 10664, from memory", true
			}
		}
	case "hex-key":
		for i := range hexKeys {
			if near(hexKeys[i].mm*millimetre, size) {
				return hexKeys[i].torque, "ISO 2936, from memory", true
			}
		}
	case "hex", "12-point":
		// Between two openings of the table the larger one speaks.
		for i := range openings {
			if size > 0 && size <= openings[i].mm*millimetre+1e-7 {
				return openings[i].torque, "ISO 1711-1, test torque of the strongest wrench", true
			}
		}
	case "cross", "slot":
		return screwdriver, "screwdriver, common practice", true
	}
	return 0, "", false
}
