package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"strconv"
	"text/tabwriter"
	"time"
)

// row is a line with what was measured.
type row struct {
	Line string `json:"line"`
	What string `json:"what"`
	Unit string `json:"unit"`
	// Ours and Ceiling are medians.
	Ours    float64  `json:"ours"`
	Ceiling *float64 `json:"ceiling,omitempty"`
	Ratio   *spread  `json:"ratio,omitempty"`
	// Processor is the ceiling's processor time for an operation to ours, callers
	// included: what the ratio would be on a machine with nothing else to do.
	Processor *spread `json:"processor,omitempty"`
	// AtLeast is the goal of the ratio, AtMost that of ours.
	AtLeast float64 `json:"at_least,omitempty"`
	AtMost  float64 `json:"at_most,omitempty"`
	OK      bool    `json:"ok"`
	Rounds  int     `json:"rounds"`
	Note    string  `json:"note,omitempty"`
}

// spread is the median of the rounds' ratios, and their quartiles.
type spread struct {
	Median float64 `json:"median"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
}

// row holds the goal against the medians.
func (l *line) row(m measured) row {
	r := row{Line: l.name, What: l.what, Unit: l.unit, Ours: quantile(m.ours, 0.5), AtLeast: l.atLeast, AtMost: l.atMost, Rounds: len(m.ours), Note: m.note}
	if len(m.ceiling) == 0 {
		r.OK = r.Ours <= l.atMost
		return r
	}
	ceiling := quantile(m.ceiling, 0.5)
	r.Ceiling, r.Ratio = &ceiling, ratio(m.ours, m.ceiling)
	// In a short round the clock of the processor may not have moved.
	if slices.Min(m.oursCost) > 0 {
		r.Processor = ratio(m.ceilingCost, m.oursCost)
	}
	r.OK = r.Ratio.Median >= l.atLeast
	return r
}

func ratio(above, below []float64) *spread {
	ratios := make([]float64, len(above))
	for i := range ratios {
		ratios[i] = above[i] / below[i]
	}
	return &spread{quantile(ratios, 0.5), quantile(ratios, 0.25), quantile(ratios, 0.75)}
}

// quantile returns the value below which a share of the values lie, between two values
// in proportion.
func quantile(values []float64, share float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	at := share * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

func writeJSON(out io.Writer, c config, rows []row) error {
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return e.Encode(struct {
		Cores   int     `json:"cores"`
		Seed    uint64  `json:"seed"`
		Records int     `json:"records,omitempty"`
		Seconds float64 `json:"seconds"`
		Lines   []row   `json:"lines"`
	}{runtime.GOMAXPROCS(0), c.seed, c.records, c.seconds, rows})
}

func writeTable(out io.Writer, c config, rows []row, took time.Duration) error {
	fmt.Fprintf(out, "%d cores, seed %d, %s. Ratios are medians of rounds taken in turn, with quartiles; only they compare across machines. CPU is the same ratio in processor time, which other work on the machine disturbs less.\n\n", runtime.GOMAXPROCS(0), c.seed, took.Round(time.Second))
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprint(t, "LINE\tOURS\tCEILING\tRATIO\tCPU\tGOAL\t\tWHAT\n")
	for _, r := range rows {
		ceiling, ratio, processor, goal := "–", "–", "–", "≤ "+short(r.AtMost)+" "+r.Unit
		if r.Ratio != nil {
			ceiling, goal = value(*r.Ceiling, r.Unit), "≥ "+short(r.AtLeast)
			ratio = fmt.Sprintf("%s [%s, %s]", short(r.Ratio.Median), short(r.Ratio.Low), short(r.Ratio.High))
		}
		if r.Processor != nil {
			processor = short(r.Processor.Median)
		}
		verdict := "below"
		if r.OK {
			verdict = "ok"
		}
		what := r.What
		if r.Note != "" {
			what += "; " + r.Note
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", r.Line, value(r.Ours, r.Unit), ceiling, ratio, processor, goal, verdict, what)
	}
	return t.Flush()
}

func value(v float64, unit string) string {
	if unit == "/s" {
		return short(v) + unit
	}
	return short(v) + " " + unit
}

// short writes a number with three digits that count.
func short(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}
