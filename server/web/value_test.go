package web

import (
	"strings"
	"testing"

	pb "proofload/api/proofload/v1"
)

// The largest digits have every stage: anyone who reads them and walks to the engine
// misses nothing.
func TestBigStages(t *testing.T) {
	nm := func(metric, imperial string) *pb.Stage {
		return &pb.Stage{Torque: &pb.Torque{Metric: metric, Imperial: imperial}}
	}
	angle := func(text string) *pb.Stage { return &pb.Stage{Angle: &pb.Quantity{Text: text}} }
	up := nm("20 N·m", "15 lbf·ft")
	up.UpTo = &pb.Torque{Metric: "25 N·m", Imperial: "18 lbf·ft"}
	for want, stages := range map[string][]*pb.Stage{
		"":                               nil,
		"240 N·m (177 lbf·ft)":           {nm("240 N·m", "177 lbf·ft")},
		"15 N·m + 90° (11 lbf·ft + 90°)": {nm("15 N·m", "11 lbf·ft"), angle("90°")},
		"stage 1 of 2: 300 N·m (221 lbf·ft); stage 2 of 2: 590 N·m (435 lbf·ft)": {nm("300 N·m", "221 lbf·ft"), nm("590 N·m", "435 lbf·ft")}, // no sum
		"20 to 25 N·m (15 to 18 lbf·ft)":                                         {up},
		"by hand + 90° (by hand + 90°)":                                          {{Seat: "hand"}, angle("90°")},
		"stage 1 of 4: 20 N·m (15 lbf·ft); stage 2 of 4: slacken (slacken); stage 3 of 4: wait 10 min (wait 10 min); stage 4 of 4: to the stop (to the stop)": {
			nm("20 N·m", "15 lbf·ft"), {Slacken: true}, {Wait: &pb.Quantity{Text: "10 min"}}, {Seat: "stop"},
		},
	} {
		var got []string
		for _, s := range bigStages(&pb.Tightening{Stages: stages}) {
			line := strings.Join(s.Metric, " + ") + " (" + strings.Join(s.Imperial, " + ") + ")"
			if s.Name != "" {
				line = s.Name + ": " + line
			}
			got = append(got, line)
		}
		if g := strings.Join(got, "; "); g != want {
			t.Errorf("got %q, want %q", g, want)
		}
	}
}
