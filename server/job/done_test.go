package job

import (
	"strings"
	"testing"
	"time"
)

// Nothing of a job was done before the job was opened; a clock that is some minutes late is taken.
func TestDoneBeforeOpening(t *testing.T) {
	opened := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	s := &State{Events: []*Event{{Kind: Opened, Time: opened}}}
	for done, says := range map[time.Time]string{
		time.Time{}.Add(1): "is not when", opened.Add(-time.Hour): "before the job was opened", opened.AddDate(-1, 0, 0): "before the job was opened",
		opened.Add(-time.Minute): "", opened: "", {}: "",
	} {
		err := s.well(&Record{Kind: Noted, Text: "worn", Done: done}, opened.Add(time.Hour))
		if (err == nil) != (says == "") || err != nil && !strings.Contains(err.Error(), says) {
			t.Errorf("done at %s: %v, want %q", done, err, says)
		}
	}
}
