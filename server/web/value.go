package web

import (
	"fmt"

	pb "proofload/api/proofload/v1"
	"proofload/specdata/wording"
)

// bigStage is one stage of a tightening as it is in large digits.
type bigStage struct {
	// Name is "stage 2 of 4"; empty where one line takes all stages.
	Name string
	// Metric and Imperial are the parts that are joined by a plus sign. A part never
	// breaks over a line.
	Metric, Imperial []string
}

// bigStages lays out every stage of a tightening: nothing that brings a fastener to
// its final state is left out of the largest digits. An angle stands on one line with the
// torque that it is turned on top of, "15 N·m + 90°"; other stages stand on a line each,
// with their number, because two torques are no sum.
func bigStages(t *pb.Tightening) []bigStage {
	stages := t.GetStages()
	if len(stages) == 0 {
		return nil
	}
	if len(stages) == 1 || len(stages) == 2 && stages[1].Angle != nil {
		var line bigStage
		for _, s := range stages {
			metric, imperial := bigPart(s)
			line.Metric, line.Imperial = append(line.Metric, metric), append(line.Imperial, imperial)
		}
		return []bigStage{line}
	}
	out := make([]bigStage, len(stages))
	for i, s := range stages {
		metric, imperial := bigPart(s)
		out[i] = bigStage{fmt.Sprintf("stage %d of %d", i+1, len(stages)), []string{metric}, []string{imperial}}
	}
	return out
}

// bigPart is one stage in both unit systems, which are equal where it is no torque.
func bigPart(s *pb.Stage) (metric, imperial string) {
	switch {
	case s.Torque != nil:
		return upTo(s.Torque.Metric, s.UpTo.GetMetric()), upTo(s.Torque.Imperial, s.UpTo.GetImperial())
	case s.Angle != nil:
		return s.Angle.Text, s.Angle.Text
	case s.Slacken:
		return "slacken", "slacken"
	case s.Wait != nil:
		return "wait " + s.Wait.Text, "wait " + s.Wait.Text
	case s.Seat == "stop":
		return "to the stop", "to the stop"
	case s.Seat != "":
		return "by " + s.Seat, "by " + s.Seat
	}
	return s.Text, s.Text
}

// upTo writes the range of a torque, or the torque where there is no other end.
func upTo(low, high string) string {
	if high == "" || high == low {
		return low
	}
	return wording.Between(low, high)
}
