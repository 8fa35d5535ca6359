package joint

import (
	"fmt"
	"math"

	"proofload/specdata"
)

// Set is what a torque wrench is set to.
type Set struct {
	// Torque is in N·m.
	Torque float64
	// How is the arithmetic in words: "110 × 400/(400 + 40 cos 0°)".
	How string
}

// SettingThrough is what a torque wrench is set to for a torque in N·m at the fastener,
// through an adapter or a multiplier of the set-up block; see [Setting] and
// [Multiplied]. Either tool may be nil. It is an error where a field is missing that the
// setting hangs on, and where the adapter would point back past the grip.
func SettingThrough(wrench, through *specdata.Tool, torque float64) (Set, error) {
	switch {
	case through == nil:
		return Set{torque, "the value itself"}, nil
	case !through.Gain.IsZero():
		gain := through.Gain.SI()
		if gain <= 1 {
			return Set{}, fmt.Errorf("gain of %s is %s; a multiplier gives more than it gets, so write its plate's ratio less losses, like \"1850 %%\"", through.Title, specdata.Display(through.Gain))
		}
		return Set{Multiplied(torque, gain), fmt.Sprintf("%s / %s", exactly(torque), exactly(gain))}, nil
	case through.Kind == "multiplier":
		return Set{}, fmt.Errorf("%s has no gain; add gain, the torque it gives for 100 %% put in, as its plate or its table states it", through.Title)
	}
	a := angle(through.Angle)
	if math.Abs(math.Cos(a)) < 1e-9 {
		return Set{torque, "the value itself: the adapter stands across the wrench"}, nil
	}
	reach := length(through.Reach)
	if reach <= 0 {
		return Set{}, fmt.Errorf("%s has no reach; add reach, the length from the wrench's square to the middle of the fastener, or angle: 90 deg where it stands across the wrench", through.Title)
	}
	if wrench == nil || length(wrench.Lever) <= 0 {
		return Set{}, fmt.Errorf("the torque wrench has no lever; add lever, the length from the middle of its grip to its square")
	}
	lever := length(wrench.Lever)
	if lever+reach*math.Cos(a) <= 0 {
		return Set{}, fmt.Errorf("%s reaches back past the grip of %s; correct reach, angle or lever", through.Title, wrench.Title)
	}
	how := fmt.Sprintf("%s × %s/(%s + %s)", exactly(torque), exactly(lever/millimetre), exactly(lever/millimetre), exactly(reach/millimetre))
	if a != 0 {
		how = fmt.Sprintf("%s × %s/(%s + %s cos %s°)", exactly(torque), exactly(lever/millimetre), exactly(lever/millimetre), exactly(reach/millimetre), exactly(a*180/pi))
	}
	return Set{Setting(torque, lever, reach, a), how}, nil
}
