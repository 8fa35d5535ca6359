package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"github.com/rogpeppe/go-internal/diff"

	"proofload/specdata"
	"proofload/tools/lint"
	"proofload/tools/lint/render"
)

// maxPasses bounds how often fixes are applied: one may bring out another, and two
// rules that undo each other must not keep the program busy.
const maxPasses = 5

// mended is one file with its fixes.
type mended struct {
	file string
	old  []byte
	lint.Mended
}

// mend returns the files that the findings of a run have fixes for, mended, in order of name.
func mend(t *target, run *render.Run) ([]mended, error) {
	byFile := map[string][]specdata.Finding{}
	var files []string
	for _, f := range run.Report.Findings {
		if len(f.Fix) == 0 || f.Waived != "" || f.File == "" {
			continue
		}
		if byFile[f.File] == nil {
			files = append(files, f.File)
		}
		byFile[f.File] = append(byFile[f.File], f)
	}
	slices.Sort(files)
	var out []mended
	for _, file := range files {
		old := t.text(file)
		m, err := lint.Mend(file, old, byFile[file])
		if err != nil {
			return nil, fmt.Errorf("file %s: %w; nothing was written", file, err)
		}
		if m.Applied > 0 {
			out = append(out, mended{file, old, m})
		}
	}
	return out, nil
}

// applyFixes mends files on disk until nothing is left to mend.
func applyFixes(ctx context.Context, e *env, t *target, co checkOptions) error {
	if err := fixable(t); err != nil {
		return err
	}
	fixed := 0
	touched := map[string]bool{}
	for range maxPasses {
		run, err := check(ctx, e, t, co)
		if err != nil {
			return err
		}
		files, err := mend(t, run)
		if err != nil {
			return err
		}
		if len(files) == 0 {
			break
		}
		for _, m := range files {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := writeFile(filepath.FromSlash(m.file), m.Data); err != nil {
				return fmt.Errorf("file %s cannot be written: %w", m.file, reason(err))
			}
			fixed += m.Applied
			touched[m.file] = true
			if m.Rewritten {
				fmt.Fprintf(e.stderr, "proofload: %s was written anew; its comments are gone\n", m.file)
			}
			for i := range t.loose {
				if t.loose[i].name == m.file {
					t.loose[i].data = m.Data
				}
			}
		}
	}
	fmt.Fprintf(e.stderr, "proofload: %s fixed in %s\n", count(fixed, "finding", "findings"), count(len(touched), "file", "files"))
	return nil
}

// fixable refuses targets that are not files of the user's.
func fixable(t *target) error {
	for _, l := range t.loose {
		if l.name == stdinName {
			return usagef("--fix cannot change standard input; --diff shows what it would change")
		}
	}
	if t.folder.dir == "" && t.loose == nil {
		return usagef("--fix changes files; this library is %s", t.folder.what())
	}
	return nil
}

// showFixes prints what --fix would change at its first pass, as a unified diff.
func (o *lintOptions) showFixes(ctx context.Context, e *env, t *target, co checkOptions) error {
	run, err := check(ctx, e, t, co)
	if err != nil {
		return err
	}
	files, err := mend(t, run)
	if err != nil {
		return err
	}
	for _, m := range files {
		if _, err := e.stdout.Write(diff.Diff(m.file, m.old, m.file, m.Data)); stdoutError(err) != nil {
			return stdoutError(err)
		}
	}
	fmt.Fprintln(e.stderr, render.Summary(run, o.notChecked))
	return o.verdict(run)
}
