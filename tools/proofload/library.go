package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/house"
)

// libraryFlag declares the flags that name a library, and returns where the name goes.
func libraryFlag(fs *pflag.FlagSet) *string {
	var l libraryValue
	fs.Var(&l, "library", "the library to use, a `FOLDER|URL`; otherwise the nearest folder upwards that holds "+library.Marker)
	fs.BoolFunc("demo", "use the invented demo library that the program carries", func(on string) error {
		if on != "true" {
			return fmt.Errorf("%q is no value of it; write --demo alone, or leave it out", on)
		}
		return l.Set(demoName)
	})
	return (*string)(&l)
}

// libraryValue is the library that flags name, once.
type libraryValue string

func (l *libraryValue) String() string { return string(*l) }
func (l *libraryValue) Type() string   { return "string" }

// Set takes a name, and refuses a second one.
func (l *libraryValue) Set(name string) error {
	if *l != "" && *l != libraryValue(name) {
		return fmt.Errorf("a library is named already, %s; choose one", strings.TrimSuffix(string(*l), ":"))
	}
	*l = libraryValue(name)
	return nil
}

// demoName stands for the demo library where a folder or an address may stand.
const demoName = "demo:"

// find finds the library of a command: the one named, else the nearest folder upwards
// from the current one that holds the marker. It never falls back on the demo: what is
// said of a library is said of the one that somebody named or stands in.
func find(e *env, named string) (*folder, error) {
	f, err := findAny(e, named)
	if err == nil && f == nil {
		return nil, usagef("no library here: neither this folder nor one above it holds %s; name one with --library FOLDER, begin one with proofload new library FOLDER, or look at the invented demo with --demo", library.Marker)
	}
	return f, err
}

// findAny is find for commands that work without a library; nil means there is none.
func findAny(e *env, named string) (*folder, error) {
	if named != "" {
		return openNamed(e, named)
	}
	root, err := upwards(".")
	if err != nil || root == "" {
		return nil, err
	}
	return openFolder(root), nil
}

// demo reports whether the library is the embedded one.
func (f *folder) demo() bool { return f.dir == "" && f.server == nil }

// what says where a library lies.
func (f *folder) what() string {
	switch {
	case f.server != nil:
		return "on the server " + f.server.base.String()
	case f.demo():
		return "the embedded demo"
	}
	return f.dir
}

// openLibrary reads a whole library; a record that cannot be read stops the
// command, because what it would say could rest on the gap.
func openLibrary(ctx context.Context, e *env, named string) (*library.Memory, error) {
	f, err := find(e, named)
	if err != nil {
		return nil, err
	}
	lib, findings, err := f.load(ctx)
	if err != nil {
		return nil, err
	}
	if len(findings) > 0 {
		first := findings[0]
		return nil, fmt.Errorf("library %s cannot be read whole (%s), first of all %s:%d:%d: %s", f.what(), count(len(findings), "finding", "findings"), first.File, first.Line, first.Column, first.Message)
	}
	return lib, nil
}

// openNamed opens what the command line names as a library.
func openNamed(e *env, dir string) (*folder, error) {
	if dir == demoName {
		return &folder{fsys: demo.Files, prefix: "demo"}, nil
	}
	if isURL(dir) {
		server, err := newRemote(dir, e.getenv(tokenVariable))
		return &folder{server: server}, err
	}
	info, err := os.Stat(dir)
	switch {
	case err != nil:
		return nil, pathError("library", dir, err)
	case !info.IsDir():
		return nil, usagef("library %s is a file; name the folder that holds vehicles, fasteners and so on", dir)
	case !isLibrary(dir):
		return nil, usagef("library %s holds neither %s nor a folder of records; records lie in %s", dir, library.Marker, collections())
	}
	return openFolder(dir), nil
}

func openFolder(dir string) *folder {
	prefix := filepath.ToSlash(filepath.Clean(dir))
	if prefix == "." {
		prefix = ""
	}
	return &folder{fsys: os.DirFS(dir), prefix: prefix, dir: dir}
}

// upwards returns the nearest folder from a path upwards that holds the marker, as
// it is reached from the current folder; "" when there is none.
func upwards(near string) (string, error) {
	abs, err := filepath.Abs(near)
	if err != nil {
		return "", fmt.Errorf("current folder is not known: %w", reason(err))
	}
	for dir := abs; ; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, library.Marker)); err == nil {
			return fromHere(dir), nil
		}
		if dir == filepath.Dir(dir) {
			return "", nil
		}
	}
}

// fromHere returns a path as it is reached from the current folder, where that is shorter to read.
func fromHere(abs string) string {
	here, err := os.Getwd()
	if err != nil {
		return abs
	}
	rel, err := filepath.Rel(here, abs)
	if err != nil || strings.HasPrefix(rel, filepath.Join("..", "..", "..")) {
		return abs
	}
	return rel
}

// isLibrary reports whether a folder looks like a library.
func isLibrary(dir string) bool {
	for _, name := range append([]string{library.Marker}, collectionNames()...) {
		if _, err := os.Stat(filepath.Join(dir, name)); err == nil {
			return true
		}
	}
	return false
}

func collectionNames() []string {
	names := make([]string, len(specdata.Kinds))
	for i, k := range specdata.Kinds {
		names[i] = k.Collection()
	}
	return names
}

func collections() string { return strings.Join(collectionNames(), ", ") }

// houseRules loads the rules that the library brings.
func (f *folder) houseRules() ([]*lint.Rule, error) {
	if f.server != nil {
		return nil, nil // a server has the rules it was built with
	}
	rules, err := house.Load(f.fsys, "rules", f.prefix)
	if err == nil {
		return rules, nil
	}
	var failed *fs.PathError
	if errors.As(err, &failed) {
		return nil, fmt.Errorf("house rule %s could not be read: %w", path.Join(f.prefix, failed.Path), reason(err))
	}
	return nil, usagef("%v", err)
}

// pathError says why a path that someone named cannot be used: one that is not
// there is a mistake of the command line, anything else keeps the run from running.
func pathError(what, name string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return usagef("%s %s does not exist", what, name)
	}
	return fmt.Errorf("%s %s cannot be read: %w", what, name, reason(err))
}

// reason is the last cause of an error of the file system, without the operation
// and the path that messages already name.
func reason(err error) error {
	var failed *fs.PathError
	if errors.As(err, &failed) {
		return failed.Err
	}
	return err
}
