package sheet_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

var update = flag.Bool("update", false, "write the golden files")

// Every demo procedure prints, for every variant, on both papers.
func TestEveryProcedurePrints(t *testing.T) {
	lib := demoLibrary(t)
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, v := range dryrun.Variants(lib, p) {
			s, err := sheet.New(lib, request(p, v))
			if err != nil {
				t.Errorf("%v", err)
				continue
			}
			for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
				var one, two bytes.Buffer
				if err := s.PDF(&one, paper); err != nil {
					t.Fatal(err)
				}
				if paper != sheet.A4 {
					continue
				}
				if err := s.PDF(&two, paper); err != nil {
					t.Fatal(err)
				}
				if !bytes.Equal(one.Bytes(), two.Bytes()) {
					t.Errorf("%s on %s: the same sheet gave other bytes", p.ID, paper)
				}
			}
			for _, row := range s.Torques {
				if !strings.ContainsAny(row.Value, "0123456789") {
					t.Errorf("%s: %s has no value: %q", p.ID, row.What, row.Value)
				}
			}
			for _, st := range s.Steps {
				if strings.Contains(st.Text, "{") {
					t.Errorf("%s step %d still has a placeholder: %s", p.ID, st.Number, st.Text)
				}
			}
		}
	}
}

func request(p *specdata.Procedure, v dryrun.Variant) sheet.Request {
	r := sheet.Request{Procedure: p.ID, Variant: &v, Printed: "2026-11-25", Notice: demo.Notice}
	if p.Sides == "one" {
		r.Side = specdata.SideLeft
	}
	return r
}

func TestGoldenHTML(t *testing.T) {
	s, err := sheet.New(demoLibrary(t), sheet.Request{
		Procedure: "quill-1-rear-hub-bearing", Side: specdata.SideLeft, Printed: "2026-11-25", Moment: whom.Moment{Position: 1},
		CheckCode: "PL-TEST-CODE", CheckURL: "http://127.0.0.1:7450/v1/checks/PL-TEST-CODE", Notice: demo.Notice,
	})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := s.HTML(&b); err != nil {
		t.Fatal(err)
	}
	golden := filepath.Join("testdata", "rear-hub-bearing.html")
	if *update {
		if err := os.WriteFile(golden, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatalf("%v; run go test ./specdata/sheet -update", err)
	}
	if !bytes.Equal(b.Bytes(), want) {
		t.Errorf("sheet changed; look at it and run go test ./specdata/sheet -update")
	}
}

func TestRefusals(t *testing.T) {
	lib := demoLibrary(t)
	cases := []struct {
		name string
		r    sheet.Request
		want string
	}{
		{"unknown procedure", sheet.Request{Procedure: "nope"}, `procedure "nope" is not in the library`},
		{"side not chosen", sheet.Request{Procedure: "quill-1-rear-hub-bearing"}, "left or right?"},
		{"other vehicle", sheet.Request{Procedure: "quill-1-rear-hub-bearing", Asked: whom.Asked{Vehicle: "dray-2"}, Side: "left"}, "is not for this vehicle"},
		{"side where there is none", sheet.Request{Procedure: "pell-1-cylinder-head-refit", Side: "left"}, "takes no side"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if _, err := sheet.New(lib, c.r); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want %q in it", err, c.want)
			}
		})
	}
	s, err := sheet.New(lib, sheet.Request{Procedure: "pell-1-cylinder-head-refit"})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.PDF(&bytes.Buffer{}, "A5"); err == nil || !strings.Contains(err.Error(), "allowed: A4, letter") {
		t.Errorf("unknown paper gave %v", err)
	}
}

// demoOnce reads the demo library once: it never changes.
var demoOnce = sync.OnceValues(demo.Library)

func demoLibrary(t *testing.T) *library.Memory {
	t.Helper()
	lib, err := demoOnce()
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// Every sheet of the demo: every band lies on the scale of its wrench, no raw name of the
// schema stands on paper, every measured value has its line, and what one does by hand is
// no socket.
func TestDemoSheetsReadWell(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, v := range dryrun.Variants(lib, p) {
			r := sheet.Request{Procedure: p.ID, Variant: &v, Printed: "2026-12-01"}
			if p.Sides == "one" {
				r.Side = specdata.SideLeft
			}
			s, err := sheet.New(lib, r)
			if err != nil {
				t.Fatal(err)
			}
			var b strings.Builder
			if err := s.HTML(&b); err != nil {
				t.Fatal(err)
			}
			n++
			text := b.String()[strings.Index(b.String(), "<body>"):]
			for _, bad := range []string{"as far as this wrench reads", "not to be read", "by hand: ", "hex-key", "hexalobular T", "hold hold", "spanner 1", "spanner 2", "always replace", "left: Advise", "left: Set the toe", "1 tightenings", "Vin ", "keeper", "{"} {
				if strings.Contains(text, bad) {
					t.Errorf("%s says %q", p.ID, bad)
				}
			}
		}
	}
	if n < 16 {
		t.Errorf("only %d sheets were read", n)
	}
}
