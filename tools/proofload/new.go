package main

import (
	"bufio"
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/schema"
	"proofload/specdata"
	"proofload/specdata/library"
)

// schemaFolder is where a library keeps the schemas that editors read.
const schemaFolder = ".schemas"

func newCommand() *command {
	c := &command{
		name: "new", args: "KIND", summary: "begin a library, or a record in one",
		examples: []string{
			"proofload new library river-street --title \"River Street workshop\"",
			"proofload new vehicle --library river-street --make Vessary --model Quill --title \"Vessary Quill 1.4\"",
			"proofload new source --library river-street --title \"Quill chassis data\" --issuer \"Vessary Motor Works\"",
			"proofload new fastener --library river-street --vehicle vessary-quill-1-4 --title \"Rear hub nut\"",
			"proofload new assembly --library river-street --vehicle vessary-quill-1-4 --title \"Rear hub\"",
			"proofload new procedure --library river-street --vehicle vessary-quill-1-4 --title \"Rear hub bearing\"",
		},
		notes: []string{
			"On a terminal you are asked for what no flag names. The file holds a todo comment for everything that\nis still to be filled in; proofload lint names each, and each one that is left behind.",
			"Editors with a YAML language server complete, explain and check by the schemas that a library\nkeeps in " + schemaFolder + ".",
		},
		sub: []*command{newLibraryCommand()},
	}
	for _, k := range specdata.Kinds {
		c.sub = append(c.sub, newRecordCommand(k))
	}
	return c
}

func newLibraryCommand() *command {
	return &command{
		name: "library", args: "FOLDER", summary: "a folder with proofload.yaml and the schemas for editors",
		setup: func(fs *pflag.FlagSet) action {
			title := fs.String("title", "", "`NAME` of the library for people")
			notice := fs.String("notice", "", "`TEXT` that every reader of the library must see")
			return func(_ context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("new library takes one folder, found %d arguments", len(args))
				}
				if err := askFor(e, []question{{"title", "Name of the library for people", title}}); err != nil {
					return err
				}
				return newLibrary(e, args[0], *title, *notice)
			}
		},
	}
}

func newLibrary(e *env, dir, title, notice string) error {
	marker := filepath.Join(dir, library.Marker)
	if _, err := os.Stat(marker); err == nil {
		return usagef("folder %s is a library already; proofload new vehicle begins a record in it", dir)
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	name := idOf(filepath.Base(abs))
	if name == "" {
		name = "library"
	}
	for _, k := range specdata.Kinds {
		if err := os.MkdirAll(filepath.Join(dir, k.Collection()), 0o755); err != nil {
			return fmt.Errorf("library %s cannot be made: %w", dir, reason(err))
		}
	}
	if err := writeSchemas(dir); err != nil {
		return err
	}
	text := fmt.Sprintf("# yaml-language-server: $schema=%s/library.json\nlibrary: %s\ntitle: %s\n", schemaFolder, name, inYAML(title))
	if notice != "" {
		text += "notice: " + inYAML(notice) + "\n"
	}
	if err := writeFile(marker, []byte(text)); err != nil {
		return fmt.Errorf("file %s cannot be written: %w", marker, reason(err))
	}
	fmt.Fprintf(e.stdout, "%s: a library without records\nnext: proofload new source --library %s, then new vehicle, then new fastener\n", marker, dir)
	return nil
}

// writeSchemas puts the schemas where the first lines of records point, as they are now.
func writeSchemas(dir string) error {
	folder := filepath.Join(dir, schemaFolder)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("folder %s cannot be made: %w", folder, reason(err))
	}
	for _, k := range schema.Kinds() {
		b, err := schema.Bundle(k)
		if err != nil {
			return err
		}
		file := filepath.Join(folder, string(k)+".json")
		if err := writeFile(file, b); err != nil {
			return fmt.Errorf("file %s cannot be written: %w", file, reason(err))
		}
	}
	return nil
}

// question is asked where its answer is still empty.
type question struct {
	flag, words string
	answer      *string
}

// askFor gets the missing answers from a terminal, one after the other; where nobody can
// be asked it names the flags that are missing, all of them.
func askFor(e *env, qs []question) error {
	var missing []string
	for _, q := range qs {
		if *q.answer == "" {
			missing = append(missing, fmt.Sprintf("--%s (%s)", q.flag, strings.ToLower(q.words[:1])+q.words[1:]))
		}
	}
	switch {
	case len(missing) == 0:
	case e.asks:
		if err := askEach(e, qs); err != nil {
			return err
		}
	case len(missing) == 1:
		return usagef("flag %s is missing", missing[0])
	default:
		return usagef("%d flags are missing: %s", len(missing), strings.Join(missing, ", "))
	}
	for _, q := range qs {
		if err := specdata.UnseenError("flag --"+q.flag, *q.answer); err != nil {
			return usagef("%v", err)
		}
	}
	return nil
}

// askEach puts each question that has no answer until it has one.
func askEach(e *env, qs []question) error {
	in := bufio.NewScanner(e.stdin)
	for _, q := range qs {
		for *q.answer == "" {
			if _, err := fmt.Fprintf(e.stdout, "%s: ", q.words); err != nil {
				return stdoutError(err)
			}
			if !in.Scan() {
				fmt.Fprintln(e.stdout)
				return usagef("the answer to --%s is missing; nothing was written", q.flag)
			}
			*q.answer = strings.TrimSpace(in.Text())
		}
	}
	return nil
}

// article returns the name of a kind with its article.
func article(k specdata.Kind) string {
	if k == specdata.KindAssembly {
		return "an " + string(k)
	}
	return "a " + string(k)
}

func newRecordCommand(k specdata.Kind) *command {
	return &command{
		name: string(k), summary: article(k) + " with a comment for everything that is to be filled in",
		setup: func(fs *pflag.FlagSet) action {
			o := newRecord{kind: k, from: libraryFlag(fs)}
			fs.StringVar(&o.id, "id", "", "the `ID`; made of vehicle and title if absent")
			fs.StringVar(&o.title, "title", "", "its `NAME` in shop words; that of a source as printed")
			switch k {
			case specdata.KindSource:
				fs.StringVar(&o.issuer, "issuer", "", "`WHO` issued it")
			case specdata.KindVehicle:
				fs.StringVar(&o.make, "make", "", "`WHO` makes it")
				fs.StringVar(&o.model, "model", "", "what the `MODEL` is called")
			default:
				fs.StringVar(&o.vehicle, "vehicle", "", "the vehicle's `ID`")
			}
			return o.run
		},
	}
}

// titleQuestion asks for the title of a record of each kind.
var titleQuestion = map[specdata.Kind]string{
	specdata.KindVehicle:   "Name of the vehicle, like \"Vessary Quill 1.4\"",
	specdata.KindFastener:  "Name of the fastener in shop words, like \"Rear hub nut\"",
	specdata.KindAssembly:  "Name of the assembly in shop words, like \"Rear hub, disc brake\"",
	specdata.KindProcedure: "Name of the procedure in shop words, like \"Rear hub bearing\"",
	specdata.KindSource:    "Title of the document as printed, like \"Quill chassis data\"",
}

// newRecord is what the command line asks a new record for.
type newRecord struct {
	kind                                    specdata.Kind
	from                                    *string
	id, title, vehicle, make, model, issuer string
}

func (o *newRecord) run(ctx context.Context, e *env, args []string) error {
	if len(args) != 0 {
		return usagef("new %s takes flags and no arguments, found %q", o.kind, args[0])
	}
	f, err := find(e, *o.from)
	if err != nil {
		return err
	}
	if f.dir == "" {
		return usagef("a record begins in a library on disk; this one is %s", f.what())
	}
	questions := []question{{"title", titleQuestion[o.kind], &o.title}}
	switch o.kind {
	case specdata.KindVehicle:
		questions = append(questions, question{"make", "Who makes it", &o.make}, question{"model", "What it is called", &o.model})
	case specdata.KindSource:
		questions = append(questions, question{"issuer", "Who issued it", &o.issuer})
	default:
		questions = append(questions, question{"vehicle", "Id of the vehicle that it is for", &o.vehicle})
	}
	if err := askFor(e, questions); err != nil {
		return err
	}
	if o.vehicle != "" {
		if err := o.knows(ctx, e, f); err != nil {
			return err
		}
	}
	if o.id == "" {
		o.id = idOf(o.vehicle, o.title)
	}
	if !specdata.ValidID(o.id) {
		return usagef("id %q is not lower-case words joined by hyphens; give one with --id, like quill-1-rear-hub-nut", o.id)
	}
	return o.write(e, f)
}

// knows refuses a vehicle that the library does not have.
func (o *newRecord) knows(ctx context.Context, e *env, f *folder) error {
	files, err := fs.Glob(f.fsys, specdata.KindVehicle.Collection()+"/*")
	if err != nil {
		return err
	}
	var ids []string
	for _, name := range files {
		ids = append(ids, strings.TrimSuffix(filepath.Base(name), filepath.Ext(name)))
	}
	if slices.Contains(ids, o.vehicle) {
		return nil
	}
	have := "it has none; begin with proofload new vehicle"
	if len(ids) > 0 {
		have = "it has " + strings.Join(ids, ", ")
	}
	return usagef("vehicle %q is not in the library%s; %s", o.vehicle, specdata.DidYouMean(o.vehicle, slices.Values(ids)), have)
}

func (o *newRecord) write(e *env, f *folder) error {
	known := map[string]string{}
	for way, answer := range map[string]string{"make": o.make, "model": o.model, "issuer": o.issuer, "applies_to/-/vehicle": o.vehicle} {
		if answer != "" {
			known[way] = inYAML(answer)
		}
	}
	if o.kind == specdata.KindFastener {
		known["thread/hand"], known["applies_to/-/side"] = "right # todo: see that it is right and not left", "each # todo: see that it is each and not left, right or centre"
	}
	file := filepath.Join(f.dir, o.kind.Collection(), o.id+".yaml")
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return fmt.Errorf("folder %s cannot be made: %w", filepath.Dir(file), reason(err))
	}
	for _, ending := range []string{".yaml", ".json"} {
		if was := strings.TrimSuffix(file, ".yaml") + ending; exists(was) {
			return usagef("record %s/%s is there already, in %s; choose another --id", o.kind.Collection(), o.id, was)
		}
	}
	if err := writeSchemas(f.dir); err != nil {
		return err
	}
	text := scaffold(o.kind, o.id, o.title, "../"+schemaFolder+"/"+string(o.kind)+".json", known)
	if err := writeFile(file, []byte(text)); err != nil {
		return fmt.Errorf("file %s cannot be written: %w", file, reason(err))
	}
	fmt.Fprintf(e.stdout, "%s: %s\nnext: fill them in, then proofload lint %s\n", file, count(strings.Count(text, "# todo:"), "todo comment", "todo comments"), file)
	return nil
}

func schemaCommand() *command {
	return &command{
		name: "schema", args: "KIND", summary: "print the JSON Schema of a kind of record as one file",
		examples: []string{"proofload schema fastener", "proofload schema library"},
		setup: func(*pflag.FlagSet) action {
			return func(_ context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("schema takes one kind, found %d arguments; kinds: %v", len(args), schema.Kinds())
				}
				b, err := schema.Bundle(specdata.Kind(args[0]))
				if err != nil {
					return usagef("%v", err)
				}
				_, err = e.stdout.Write(b)
				return stdoutError(err)
			}
		},
	}
}
