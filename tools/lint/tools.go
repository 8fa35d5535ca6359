package lint

import (
	"math"
	"regexp"

	"proofload/specdata"
	"proofload/specdata/joint"
)

// Turned returns the drive of the side of a fastener that is turned, Held that of the
// side that is not; "" where the record does not say.
func Turned(f *specdata.Fastener) string {
	if f.Drive == nil {
		return ""
	}
	if f.Drive.Turn == "nut" {
		return f.Drive.Nut
	}
	return f.Drive.Head
}

// Held returns the drive of the side that is held; see Turned.
func Held(f *specdata.Fastener) string {
	if f.Drive == nil {
		return ""
	}
	if f.Drive.Turn == "nut" {
		return f.Drive.Head
	}
	return f.Drive.Nut
}

// Fits reports whether a tool of a size goes on a drive. A hexagon is turned with a
// hexagon, a 12-point or an open end of its measure.
func Fits(size, drive string) bool {
	if size == drive {
		return size != ""
	}
	a, x := joint.SplitDrive(size)
	b, y := joint.SplitDrive(drive)
	return opens(a) && opens(b) && x > 0 && math.Abs(x-y) < 1e-6
}

func opens(form string) bool { return form == "hex" || form == "12-point" || form == "flats" }

var measure = regexp.MustCompile(`\d+(?:\.\d+)?(?:/\d+)? (?:mm|in)\b`)

// Measures returns the lengths that a text names ("spanner 17 mm on the flats").
func Measures(text string) []specdata.Quantity {
	var qs []specdata.Quantity
	for _, s := range measure.FindAllString(text, -1) {
		if q, err := specdata.ParseQuantity(s); err == nil {
			qs = append(qs, q)
		}
	}
	return qs
}

// HasMeasure reports whether a tool size has one of some measures.
func HasMeasure(size string, qs []specdata.Quantity) bool {
	_, m := joint.SplitDrive(size)
	for _, q := range qs {
		if m > 0 && math.Abs(m-q.SI()) < 1e-6 {
			return true
		}
	}
	return false
}

// Turns reports whether the operation turns a fastener with a tool.
func (w Written) Turns() bool {
	return w.Fastener != nil && w.Uses(specdata.Slacken, specdata.Remove, specdata.Snug, specdata.Tighten, specdata.StageVerb, specdata.Turn, specdata.BackOff)
}
