package narration_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/narration"
)

var marks = regexp.MustCompile(`\[[0-9:]+\]|[.,;:!?()"]`)

// recognised is a script as a speech recogniser gives it: no marks, no capitals, and
// lines that end where the breath does.
func recognised(script string, words int) string {
	all := strings.Fields(strings.ToLower(marks.ReplaceAllString(strings.ReplaceAll(script, "-", " "), " ")))
	var b strings.Builder
	for i := 0; i < len(all); i += words {
		fmt.Fprintf(&b, "[%s] %s\n", narration.Clock(float64(i)/2.2), strings.Join(all[i:min(i+words, len(all))], " "))
	}
	return b.String()
}

// Every demo script is right as a recogniser gives it too, and a wrong number in it is seen.
func TestAsRecognised(t *testing.T) {
	l := demoLibrary(t)
	alarms, minutes, wrong, seen := 0, 0.0, 0, 0
	number := regexp.MustCompile(`(one|two|three|four|five|six|seven|eight|nine)( hundred| and|)( \w+|)( newton metres)`)
	for e := range l.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		script := narration.Script(p, l)
		for _, words := range []int{7, 11} {
			text := recognised(script, words)
			fs := messages(check(t, l, p.ID, text))
			alarms += len(fs)
			minutes += float64(len(strings.Fields(text))) / 130
			if *show {
				for _, m := range fs {
					t.Logf("FALSE %s: %s", p.ID, m)
				}
			}
		}
		for _, at := range number.FindAllStringSubmatchIndex(script, -1) {
			digit := script[at[2]:at[3]]
			other := "three"
			if digit == "three" {
				other = "seven"
			}
			wrong++
			slipped := recognised(script[:at[2]]+other+script[at[3]:], 9)
			if got := messages(check(t, l, p.ID, slipped)); len(got) > len(messages(check(t, l, p.ID, recognised(script, 9)))) {
				seen++
			} else if *show {
				t.Logf("MISSED %s: %s for %s", p.ID, other, script[at[0]:at[1]])
			}
		}
	}
	t.Logf("%d false alarms in %.0f minutes; %d of %d wrong numbers seen", alarms, minutes, seen, wrong)
	if float64(alarms) > minutes/10 || wrong < 20 || seen*10 < wrong*9 {
		t.Errorf("%d false alarms in %.0f minutes, %d of %d wrong numbers seen; want one in ten minutes and nine of ten", alarms, minutes, seen, wrong)
	}
}
