package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/whom"
)

// Everything that prints a value, a step or a verdict of a record says what it is for
// and what it is not for: every record by show, every procedure by run, and every
// sheet on every page, on screen and on both papers.
func TestEveryOutputSaysForWhom(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	says := func(t *testing.T, got string, f whom.For) {
		t.Helper()
		for _, line := range f.Lines() {
			if !strings.Contains(joined(got), joined(line)) {
				t.Errorf("does not say %q", line)
			}
		}
	}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			as := specdata.AppliesOf(e.Record)
			if len(as) == 0 {
				continue
			}
			t.Run("show "+string(e.Name()), func(t *testing.T) {
				var b bytes.Buffer
				show := shown{w: &b, lib: lib}
				show.record(e)
				f := whom.Of(lib, as)
				if p, ok := e.Record.(*specdata.Procedure); ok {
					f = whom.OfProcedure(lib, p)
				}
				says(t, b.String(), f)
			})
		}
	}
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, v := range dryrun.Variants(lib, p) {
			side := map[string]string{"one": "left", "both": "both", "none": ""}[p.Sides]
			f := whom.OfVariant(lib, p, v, side)
			said := whom.Say(p, v)
			args := []string{p.ID, "--library", "../../specdata/demo", "--vehicle", said.Vehicle}
			for _, o := range said.Stated.Options {
				args = append(args, "--option", o)
			}
			if said.Stated.Built != "" {
				args = append(args, "--built", said.Stated.Built)
			}
			if side == "left" {
				args = append(args, "--side", side)
			}
			t.Run("run "+p.ID+" "+v.String(), func(t *testing.T) {
				says(t, demand(t, exitClean, "", append([]string{"run", "--quiet"}, args...)...), f)
			})
			for _, out := range []struct {
				file string
				more []string
			}{{"s.html", nil}, {"a4.pdf", []string{"--paper", "A4"}}, {"letter.pdf", []string{"--paper", "letter"}}} {
				t.Run(out.file+" "+p.ID+" "+v.String(), func(t *testing.T) {
					file := filepath.Join(dir, out.file)
					demand(t, exitClean, "", append(append([]string{"sheet", "-o", file}, args...), out.more...)...)
					text := string(read(t, file))
					if strings.HasSuffix(file, ".html") {
						says(t, text, f)
						return
					}
					pages := pdfText(t, file)
					for i, page := range pages {
						says(t, page, f)
						if want := fmt.Sprintf("page %d of %d", i+1, len(pages)); !strings.Contains(page, want) {
							t.Errorf("page %d does not say %q", i+1, want)
						}
					}
				})
			}
		}
	}
}

// pdfText reads the pages of a PDF with a program that others wrote.
func pdfText(t *testing.T, file string) []string {
	t.Helper()
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed; CI needs poppler-utils")
		}
		t.Skip("SKIPPED: pdftotext is not installed (poppler-utils), so nobody read the PDF")
	}
	out, err := exec.Command(program, "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(string(out), "\f"), "\f")
}

// joined leaves out how a text is broken into lines.
func joined(s string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(s, "\u00a0", " ")), " ")
}
