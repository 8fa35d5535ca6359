package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/draft"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

func draftCommand() *command {
	return &command{
		name: "draft", args: "", summary: "draft a procedure that frees a part of an assembly and puts it back",
		examples: []string{"proofload draft --demo --assembly quill-1-rear-hub-disc --to-free hub --vehicle quill-1 -o hub.yaml"},
		notes: []string{
			"The draft takes the shortest admissible order and is for all that the assembly is for. Nobody has signed it: a person edits from there, names its source and has it checked. What the records do not say is listed.",
			"Exit codes: 0 the draft passes its dry run, 1 it does not or something is missing, 2 wrong command line or no way to free the part, 3 could not run.",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			assembly := fs.String("assembly", "", "the assembly's `ID`")
			part := fs.String("to-free", "", "the `ID` of the part to free")
			vehicle := fs.String("vehicle", "", "the vehicle's `ID`; may be absent where the assembly is for one")
			out := fs.StringP("output", "o", "-", "`FILE` to write the procedure to, - for standard output")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 0 || *assembly == "" || *part == "" {
					return usagef("draft takes --assembly and --to-free and no arguments")
				}
				lib, err := openLibrary(ctx, e, *from)
				if err != nil {
					return err
				}
				r, err := draftRequest(lib, *assembly, *part, *vehicle)
				if err != nil {
					return err
				}
				d, err := draft.New(lib, r)
				if err != nil {
					return usagef("%v", err)
				}
				if id := strings.TrimSuffix(filepath.Base(*out), filepath.Ext(*out)); *out != "-" && specdata.ValidID(id) {
					d.Procedure.ID = id // a record's file is named by its id
				}
				if err := writeDraft(e, lib, d, *out); err != nil {
					return err
				}
				return draftVerdict(e, lib, d)
			}
		},
	}
}

// draftRequest takes the vehicle from the assembly where the command line names none.
func draftRequest(lib *library.Memory, assembly, part, vehicle string) (draft.Request, error) {
	a := library.Assembly(lib, strings.TrimPrefix(assembly, "assemblies/"))
	if a == nil {
		return draft.Request{}, usagef("assembly %q is not in the library%s", assembly, specdata.DidYouMean(assembly, library.IDs(lib, specdata.KindAssembly)))
	}
	for _, c := range a.AppliesTo {
		if vehicle == "" || c.Vehicle == vehicle {
			return draft.Request{Assembly: a.ID, Part: part, Vehicle: c.Vehicle}, nil
		}
	}
	return draft.Request{}, usagef("assembly %s does not apply to vehicle %q", a.ID, vehicle)
}

func writeDraft(e *env, lib *library.Memory, d *draft.Draft, out string) error {
	b, err := json.Marshal(d.Procedure)
	if err != nil {
		return err
	}
	canonical, err := document.Canonicalize(b)
	if err != nil {
		return err
	}
	text, err := document.Format(canonical)
	if err != nil {
		return err
	}
	var head bytes.Buffer // comments, so that whoever reads the file sees what it is for
	for _, line := range whom.OfProcedure(lib, d.Procedure).Lines() {
		fmt.Fprintf(&head, "# %s\n", line)
	}
	text = append(head.Bytes(), text...)
	if out == "-" {
		_, err = e.stdout.Write(text)
		return err
	}
	if _, err := os.Stat(out); !errors.Is(err, os.ErrNotExist) {
		return usagef("file %s is there already; a draft never overwrites, name another file", out)
	}
	if err := os.WriteFile(out, text, 0o644); err != nil {
		return fmt.Errorf("draft %s cannot be written: %w", out, reason(err))
	}
	return nil
}

// draftVerdict says on standard error what the draft is for, how it was found and what
// it lacks.
func draftVerdict(e *env, lib *library.Memory, d *draft.Draft) error {
	writeFor(e.stderr, whom.OfProcedure(lib, d.Procedure))
	exact := "the shortest order there is"
	if !d.Order.Exact {
		exact = "the best order found, not proved shortest"
	}
	fmt.Fprintf(e.stderr, "proofload: %s to free it, %s\n", count(len(d.Order.Acts), "act", "acts"), exact)
	for _, m := range d.Missing {
		fmt.Fprintf(e.stderr, "proofload: missing: %s\n", m)
	}
	for _, p := range d.Problems {
		fmt.Fprintf(e.stderr, "proofload: %s\n", p.Message())
	}
	if len(d.Missing)+len(d.Problems) > 0 {
		return errFindings
	}
	return nil
}
