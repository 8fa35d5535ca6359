package specdata_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

func TestValuesShown(t *testing.T) {
	for text, want := range map[string]string{
		"":                                   "",
		"Tighten to {torque:a-b}.":           "a-b whole",
		"{stage:a/1} then {stage:a/2}":       "a 1, a 2",
		"{torque:a}, stage {stage:b/12}":     "a whole, b 12",
		"{tool:w} {limit} {torque:":          "",
		"{stage:a}":                          "a bad",
		"{stage:a/}":                         "a bad",
		"{stage:a/0}":                        "a bad",
		"{stage:a/-1} {stage:a/01}":          "a bad, a bad",
		"{stage:a/2/3}":                      "a bad",
		"{ {stage:a/1}":                      "a 1",
		"{torque:a {torque:b} {torque:c}":    "a {torque:b whole, c whole",
		"{" + strings.Repeat("{", 50) + "}}": "",
	} {
		var got []string
		for _, s := range specdata.ValuesShown(text) {
			stage := map[int]string{0: "whole", -1: "bad"}[s.Stage]
			if stage == "" {
				stage = fmt.Sprint(s.Stage)
			}
			got = append(got, s.Fastener+" "+stage)
			if !strings.Contains(text, s.Placeholder) {
				t.Errorf("%q: placeholder %q does not stand in it", text, s.Placeholder)
			}
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%q shows %q, want %q", text, strings.Join(got, ", "), want)
		}
	}
}

// What is written is read back, whatever stands around it.
func TestValuesShownReadsWhatIsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.StringMatching(`[a-z][a-z0-9-]{0,20}`).Draw(t, "id")
		n := rapid.IntRange(1, 20).Draw(t, "stage")
		around := rapid.StringMatching(`[A-Za-z ,.]{0,20}`)
		text := around.Draw(t, "before") + specdata.OneStage(id, n) + around.Draw(t, "between") + specdata.WholeSeries(id) + around.Draw(t, "after")
		want := []specdata.Shown{{Placeholder: specdata.OneStage(id, n), Fastener: id, Stage: n}, {Placeholder: specdata.WholeSeries(id), Fastener: id}}
		if got := specdata.ValuesShown(text); !slices.Equal(got, want) {
			t.Fatalf("%q shows %v, want %v", text, got, want)
		}
	})
}
