package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"log"
	"math"
	"os"
	"runtime"
	"strings"
	"testing"
)

// The lines about starting and memory run this program again, which in a test is
// the test.
func TestMain(m *testing.M) {
	if _, ok := serving(os.Args[1:]); ok {
		if err := dispatch(os.Args[1:]); err != nil {
			log.Fatal(err)
		}
		return
	}
	m.Run()
}

// Every line works and has its row; how fast is not for a test to say.
func TestEveryLine(t *testing.T) {
	dir := t.TempDir()
	var out bytes.Buffer
	if err := run(t.Context(), []string{"-seconds", "0.02", "-records", "100", "-dir", dir, "-json"}, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	var got struct{ Lines []row }
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	var want []line
	for _, l := range lines {
		if l.system == "" || l.system == runtime.GOOS {
			want = append(want, l)
		}
	}
	if len(got.Lines) != len(want) {
		t.Fatalf("%d rows, want %d", len(got.Lines), len(want))
	}
	for i, r := range got.Lines {
		l := want[i]
		if r.Line != l.name || r.What == "" || r.Unit == "" || !(r.Ours > 0) || r.Rounds == 0 {
			t.Errorf("row %d is %+v, want one of %s", i, r, l.name)
		}
		if (r.Ratio != nil) != (l.atLeast > 0) || (r.Ceiling != nil) != (l.atLeast > 0) || (l.atMost > 0) == (l.atLeast > 0) {
			t.Errorf("%s: row %+v does not fit its goal", l.name, r)
		}
		if r.Ratio != nil && !(0 < r.Ratio.Low && r.Ratio.Low <= r.Ratio.Median && r.Ratio.Median <= r.Ratio.High && r.Ratio.High < math.MaxFloat64) {
			t.Errorf("%s: ratio %+v", l.name, r.Ratio)
		}
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
	var table bytes.Buffer
	if err := writeTable(&table, config{}, got.Lines, 0); err != nil {
		t.Fatal(err)
	}
	for _, r := range got.Lines {
		if !strings.Contains(table.String(), "\n"+r.Line+" ") {
			t.Errorf("table lacks %s:\n%s", r.Line, table.String())
		}
	}
}

func TestGoals(t *testing.T) {
	compared := line{name: "a", unit: "/s", atLeast: 0.9}
	alone := line{name: "b", unit: "ms", atMost: 5}
	for _, c := range []struct {
		line
		measured
		ok bool
	}{
		{compared, measured{ours: []float64{9, 19, 9}, ceiling: []float64{10, 20, 100}, oursCost: []float64{0}}, true},
		{compared, measured{ours: []float64{8, 19, 9}, ceiling: []float64{10, 20, 100}, oursCost: []float64{0}}, false},
		{alone, measured{ours: []float64{1, 5, 900}}, true},
		{alone, measured{ours: []float64{1, 6, 6}}, false},
	} {
		if got := c.line.row(c.measured).OK; got != c.ok {
			t.Errorf("%s with %v to %v: ok %v, want %v", c.name, c.ours, c.ceiling, got, c.ok)
		}
	}
	// R-7, the default of most programs (Hyndman and Fan 1996).
	for share, want := range map[float64]float64{0: 1, 0.25: 1.75, 0.5: 2.5, 0.75: 3.25, 1: 4} {
		if got := quantile([]float64{4, 1, 3, 2}, share); got != want {
			t.Errorf("quantile %v is %v, want %v", share, got, want)
		}
	}
}

func TestArguments(t *testing.T) {
	for args, want := range map[string]string{
		"x": "not understood", "-seconds 0": "out of range", "-seconds NaN": "out of range", "-records -1": "out of range", "-lines (": "not a pattern", "-lines nothing": "no line", "-nothing": "not defined",
	} {
		err := run(t.Context(), append(strings.Fields(args), "-dir", t.TempDir()), io.Discard, io.Discard)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s gives error %v, want %q", args, err, want)
		}
	}
	var help bytes.Buffer
	if err := run(t.Context(), []string{"-help"}, io.Discard, &help); err != nil {
		t.Errorf("help gives error %v", errors.Unwrap(err))
	}
	for _, l := range lines {
		if !strings.Contains(help.String(), "  "+l.name+" ") {
			t.Errorf("help lacks %s", l.name)
		}
	}
}
