package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"proofload/specdata"
)

// stdinName is what findings call standard input.
const stdinName = "<stdin>"

// target is what a run looks at.
type target struct {
	folder *folder
	// files are the file names, as positions give them, that the run is restricted
	// to; a name that ends in a slash is a folder. nil means the whole library.
	files []string
	// loose are documents that lie outside the library. They are judged as if they
	// were in it.
	loose []loose
}

type loose struct {
	name string
	data []byte
}

// whole reports whether the run is over the whole library.
func (t *target) whole() bool { return t.files == nil && t.loose == nil }

// has reports whether a file is one that the run looks at.
func (t *target) has(file string) bool {
	if t.whole() {
		return true
	}
	for _, f := range t.files {
		if f == file || strings.HasSuffix(f, "/") && strings.HasPrefix(file, f) {
			return true
		}
	}
	for _, l := range t.loose {
		if l.name == file {
			return true
		}
	}
	return false
}

// resolve works out the library and the part of it that paths name.
func resolve(e *env, named string, paths []string) (*target, error) {
	t := &target{}
	all := len(paths) == 0
	if named != "" {
		var err error
		if t.folder, err = openNamed(e, named); err != nil {
			return nil, err
		}
	}
	for _, p := range paths {
		if p == "-" {
			data, err := io.ReadAll(io.LimitReader(e.stdin, maxStdin+1))
			if err != nil {
				return nil, fmt.Errorf("standard input cannot be read: %w", err)
			}
			t.loose = append(t.loose, loose{stdinName, data})
			continue
		}
		whole, err := t.add(p)
		if err != nil {
			return nil, err
		}
		all = all || whole
	}
	if t.folder == nil {
		var err error
		if t.folder, err = find(e, ""); err != nil {
			return nil, err
		}
	}
	if all {
		t.files = nil
		if t.loose != nil {
			t.files = []string{folderName(t.folder.prefix)}
		}
	}
	return t, nil
}

// named says what a run looked at.
func (t *target) named(args []string) string {
	if len(args) > 0 {
		return strings.Join(args, ", ")
	}
	return "library " + t.folder.what()
}

// maxStdin bounds what is read from standard input; no document may be that large.
const maxStdin = 16 << 20

// add takes one path in and says whether it is the library as a whole.
func (t *target) add(p string) (whole bool, err error) {
	info, err := os.Stat(p)
	if err != nil {
		return false, pathError("path", p, err)
	}
	root, err := rootOf(p, info.IsDir())
	if err != nil {
		return false, err
	}
	if t.folder != nil && t.folder.dir != "" && inside(t.folder.dir, p) {
		root = t.folder.dir
	}
	switch {
	case root == "" && info.IsDir():
		return false, usagef("folder %s is no library and lies in none; name a file, a folder with records in %s, or a folder below one that holds proofload.yaml", p, collections())
	case root == "":
		return false, t.addLoose(p)
	case t.folder == nil:
		t.folder = openFolder(root)
	case !same(t.folder.dir, root):
		if !info.IsDir() {
			return false, t.addLoose(p)
		}
		return false, usagef("path %s lies in the library %s, not in %s; lint one library at a time", p, root, t.folder.what())
	}
	rel, err := relative(root, p)
	if err != nil {
		return false, err
	}
	if rel == "." {
		return true, nil
	}
	collection, _, below := strings.Cut(rel, "/")
	if _, ok := specdata.KindOf(collection); !ok || info.IsDir() && below {
		return false, usagef("path %s holds no records of the library %s; its records lie in %s", p, root, collections())
	}
	if info.IsDir() {
		t.files = append(t.files, folderName(path.Join(t.folder.prefix, rel)))
		return false, nil
	}
	if ext := strings.ToLower(path.Ext(rel)); ext != ".yaml" && ext != ".json" && ext != ".yml" {
		return false, usagef("file %s is no document; documents end in .yaml or .json", p)
	}
	t.files = append(t.files, path.Join(t.folder.prefix, rel))
	return false, nil
}

func (t *target) addLoose(p string) error {
	data, err := os.ReadFile(p)
	if err != nil {
		return pathError("file", p, err)
	}
	t.loose = append(t.loose, loose{filepath.ToSlash(filepath.Clean(p)), data})
	return nil
}

// rootOf returns the library that a path lies in: the nearest folder upwards with the
// marker, else the folder itself or the one above its collection; "" for none.
func rootOf(p string, dir bool) (string, error) {
	near := p
	if !dir {
		near = filepath.Dir(p)
	}
	root, err := upwards(near)
	if err != nil || root != "" {
		return root, err
	}
	if dir && isLibrary(p) {
		return p, nil
	}
	abs, err := filepath.Abs(near)
	if err != nil {
		return "", err
	}
	if _, ok := specdata.KindOf(filepath.Base(abs)); ok {
		return fromHere(filepath.Dir(abs)), nil
	}
	return "", nil
}

func same(a, b string) bool {
	x, errA := os.Stat(a)
	y, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(x, y)
}

func inside(root, p string) bool {
	rel, err := relative(root, p)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, "../")
}

// relative returns a path below a root, with slashes. Links are followed, so that one
// folder reached in two ways is one.
func relative(root, p string) (string, error) {
	a, err := real(root)
	if err != nil {
		return "", err
	}
	b, err := real(p)
	if err != nil {
		return "", err
	}
	rel, err := filepath.Rel(a, b)
	return filepath.ToSlash(rel), err
}

func real(p string) (string, error) {
	abs, err := filepath.Abs(p)
	if err != nil {
		return "", err
	}
	links, err := filepath.EvalSymlinks(abs)
	if errors.Is(err, fs.ErrNotExist) {
		return abs, nil
	}
	return links, err
}

func folderName(p string) string {
	if p == "" {
		return "./"
	}
	return strings.TrimSuffix(p, "/") + "/"
}
