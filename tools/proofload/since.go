package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// since is what changed in a library from a git revision on, in the work tree as
// it stands, committed or not.
type since struct {
	ref, base string
	// paths are changed files below the library, with slashes.
	paths []string
	// everything says that a house rule or the marker changed, so that all records are judged.
	everything bool
	names      map[string]bool // paths as positions give them
}

// changedSince asks git what changed from the merge base of HEAD and a revision on.
// A history too short to tell is an error, never "nothing changed".
func changedSince(ctx context.Context, f *folder, ref string) (*since, error) {
	if f.dir == "" {
		return nil, usagef("--since needs a library in a git work tree; this one is %s", f.what())
	}
	if strings.HasPrefix(ref, "-") {
		return nil, usagef("--since %q is no git revision", ref)
	}
	g := git{ctx: ctx, dir: f.dir}
	if _, err := g.run("rev-parse", "--is-inside-work-tree"); err != nil {
		if errors.Is(err, exec.ErrNotFound) {
			return nil, errors.New("--since needs git, which is not installed")
		}
		return nil, fmt.Errorf("--since: library %s lies in no git work tree", f.dir)
	}
	shallow, err := g.run("rev-parse", "--is-shallow-repository")
	if err != nil {
		return nil, err
	}
	const mend = "the clone is shallow and what changed cannot be told; fetch the history first: git fetch --unshallow, or a fetch depth of 0 in the checkout step"
	if _, err := g.run("rev-parse", "--verify", "--quiet", ref+"^{commit}"); err != nil {
		if strings.TrimSpace(shallow) == "true" {
			return nil, fmt.Errorf("--since: revision %s is not in this clone: %s", ref, mend)
		}
		return nil, usagef("--since: git knows no revision %q here", ref)
	}
	base, err := g.run("merge-base", "HEAD", ref)
	if err != nil {
		if strings.TrimSpace(shallow) == "true" {
			return nil, fmt.Errorf("--since: HEAD and %s have no common revision in this clone: %s", ref, mend)
		}
		return nil, fmt.Errorf("--since: HEAD and %s have no common revision", ref)
	}
	s := &since{ref: ref, base: strings.TrimSpace(base), names: map[string]bool{}}
	tracked, err := g.run("diff", "--name-only", "--no-renames", "--relative", "-z", s.base, "--", ".")
	if err != nil {
		return nil, err
	}
	fresh, err := g.run("ls-files", "--others", "--exclude-standard", "-z", "--", ".")
	if err != nil {
		return nil, err
	}
	for p := range strings.SplitSeq(tracked+fresh, "\x00") {
		collection, _, _ := strings.Cut(p, "/")
		if _, ok := specdata.KindOf(collection); ok {
			s.paths = append(s.paths, p)
			s.names[path.Join(f.prefix, p)] = true
		}
		if collection == "rules" || p == library.Marker {
			s.everything = true
		}
	}
	return s, nil
}

func (s *since) has(file string) bool { return s.names[file] }

// before returns the library as it was at the base, and the names of the records
// that changed. Files that could not be read then count as absent, which is said.
func (s *since) before(ctx context.Context, e *env, f *folder, now *library.Memory) (library.Library, []specdata.Name, error) {
	names := map[specdata.Name]bool{}
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		for entry := range now.All(k) {
			if s.has(entry.Position("").File) {
				names[entry.Name()] = true
			} else {
				entries = append(entries, entry)
			}
		}
	}
	unread := 0
	err := git{ctx: ctx, dir: f.dir}.blobs(s.base, s.paths, func(p string, data []byte) {
		doc, _ := document.Read(p, data)
		if doc == nil {
			unread++
			return
		}
		entries = append(entries, library.NewEntry(doc))
		names[doc.Record.Name()] = true
	})
	if err != nil {
		return nil, nil, err
	}
	if unread > 0 {
		fmt.Fprintf(e.stderr, "proofload: %s new, because it could not be read as it was before\n", count(unread, "changed file counts as", "changed files count as"))
	}
	old, err := library.NewMemory(entries...)
	if err != nil {
		return nil, nil, err
	}
	var changed []specdata.Name
	for n := range names {
		changed = append(changed, n)
	}
	return old, changed, nil
}

// git runs git in a folder.
type git struct {
	ctx context.Context
	dir string
}

func (g git) command(args ...string) *exec.Cmd {
	cmd := exec.CommandContext(g.ctx, "git", args...)
	cmd.Dir = g.dir
	cmd.Env = append(os.Environ(), "LC_ALL=C", "GIT_OPTIONAL_LOCKS=0")
	return cmd
}

func (g git) run(args ...string) (string, error) {
	cmd := g.command(args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		if errors.Is(err, exec.ErrNotFound) {
			return "", err
		}
		said, _, _ := strings.Cut(strings.TrimSpace(errs.String()), "\n")
		return "", fmt.Errorf("git %s failed: %s", args[0], said)
	}
	return out.String(), nil
}

// blobs returns the content that files had at a revision to take, leaving out those
// that were not there.
func (g git) blobs(rev string, paths []string, take func(p string, data []byte)) error {
	var ask strings.Builder
	for _, p := range paths {
		if strings.ContainsAny(p, "\n") {
			return fmt.Errorf("file name %q holds a line break, which git cannot be asked about; rename it", p)
		}
		fmt.Fprintf(&ask, "%s:./%s\n", rev, p)
	}
	cmd := g.command("cat-file", "--batch")
	cmd.Stdin = strings.NewReader(ask.String())
	out, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("git cat-file failed on revision %s", rev)
	}
	r := bufio.NewReader(bytes.NewReader(out))
	for _, p := range paths {
		head, err := r.ReadString('\n')
		if err != nil {
			return fmt.Errorf("git cat-file stopped before %s", p)
		}
		if strings.HasSuffix(head, " missing\n") {
			continue
		}
		var id, kind string
		var size int64
		if _, err := fmt.Sscanf(head, "%s %s %d", &id, &kind, &size); err != nil {
			return fmt.Errorf("git cat-file answered %q for %s", strings.TrimSpace(head), p)
		}
		data := make([]byte, size+1) // a line break follows
		if _, err := io.ReadFull(r, data); err != nil {
			return fmt.Errorf("git cat-file stopped inside %s", p)
		}
		take(p, data[:size])
	}
	return nil
}
