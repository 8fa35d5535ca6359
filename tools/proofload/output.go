package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"proofload/specdata"
	"proofload/tools/lint/render"
)

// wantsColor follows the flag, then NO_COLOR (no-color.org), CLICOLOR_FORCE and the
// terminal, in that order (both conventions from memory).
func wantsColor(e *env, flag string) (bool, error) {
	switch flag {
	case "always":
		return true, nil
	case "never":
		return false, nil
	case "auto":
		if e.getenv("NO_COLOR") != "" {
			return false, nil
		}
		if force := e.getenv("CLICOLOR_FORCE"); force != "" && force != "0" {
			return true, nil
		}
		return e.terminal && e.getenv("TERM") != "dumb", nil
	}
	return false, usagef("flag --color: %q is none of auto, always, never", flag)
}

// outputs is what a run is written to.
type outputs struct {
	text    render.TextOptions
	reports []report
}

// report is one file that a run is written to.
type report struct {
	format, file string
	write        func(io.Writer, *render.Run) error
}

var formats = []string{"json", "sarif", "junit", "text"}

func parseReports(flags []string, text render.TextOptions, failOn specdata.Severity) (*outputs, error) {
	o := &outputs{text: text}
	seen := map[string]bool{}
	for _, f := range flags {
		format, file, ok := strings.Cut(f, "=")
		if !ok || file == "" {
			return nil, usagef("flag --report: %q is not FORMAT=FILE; write it like json=report.json", f)
		}
		if seen[file] {
			return nil, usagef("flag --report: two reports go to %s; give each its own file", file)
		}
		seen[file] = true
		r := report{format: format, file: file}
		switch format {
		case "json":
			r.write = render.JSON
		case "sarif":
			r.write = render.SARIF
		case "junit":
			r.write = func(w io.Writer, run *render.Run) error { return render.JUnit(w, run, failOn) }
		case "text":
			r.write = func(w io.Writer, run *render.Run) error {
				return render.Text(w, run, render.TextOptions{NotChecked: text.NotChecked, Why: text.Why})
			}
		default:
			return nil, usagef("flag --report: format %q does not exist%s; allowed: %s", format, specdata.DidYouMean(format, slices.Values(formats)), strings.Join(formats, ", "))
		}
		o.reports = append(o.reports, r)
	}
	return o, nil
}

// write writes the run: text to standard output, unless a report goes there, and
// every report to its file.
func (o *outputs) write(e *env, run *render.Run) error {
	var taken bool
	for _, r := range o.reports {
		var b bytes.Buffer
		if err := r.write(&b, run); err != nil {
			return fmt.Errorf("report %s could not be made: %w", r.format, err)
		}
		if r.file == "-" {
			taken = true
			if _, err := e.stdout.Write(b.Bytes()); stdoutError(err) != nil {
				return stdoutError(err)
			}
			continue
		}
		if err := writeFile(r.file, b.Bytes()); err != nil {
			return fmt.Errorf("report %s cannot be written: %w", r.file, reason(err))
		}
	}
	if taken {
		fmt.Fprintln(e.stderr, render.Summary(run, o.text.NotChecked))
		return nil
	}
	return stdoutError(render.Text(e.stdout, run, o.text))
}

// stdoutError says that standard output failed. A reader that had enough and went
// (a pager, head) is no failure: the exit code still says what was found.
func stdoutError(err error) error {
	if err == nil || errors.Is(err, syscall.EPIPE) {
		return nil
	}
	return fmt.Errorf("standard output cannot be written: %w", reason(err))
}

// writeFile puts a file in place whole: a reader sees the old one or the new one.
// An existing file keeps its mode, and a link stays a link.
func writeFile(file string, data []byte) error {
	mode := os.FileMode(0o644)
	if to, err := filepath.EvalSymlinks(file); err == nil {
		file = to
		info, err := os.Stat(file)
		if err != nil {
			return err
		}
		if !info.Mode().IsRegular() { // a pipe or a device cannot be replaced
			return os.WriteFile(file, data, mode)
		}
		mode = info.Mode().Perm()
	}
	tmp, err := os.CreateTemp(filepath.Dir(file), ".proofload-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // fails after the rename, and should
	_, err = tmp.Write(data)
	for _, next := range []func() error{tmp.Sync, func() error { return tmp.Chmod(mode) }} {
		if err == nil {
			err = next()
		}
	}
	if closed := tmp.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	return os.Rename(tmp.Name(), file)
}
