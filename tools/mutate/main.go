// Command mutate plants faults in the packages whose numbers and decisions can hurt
// someone, one at a time, and prints what share of them the tests notice.
//
//	go run ./tools/mutate             a sample, compared with the committed shares
//	go run ./tools/mutate -n 0 -all   every fault, survivors listed
//	go run ./tools/mutate -write      commits the shares that were measured
//
// It exits 1 where a share is below the committed one: it may only rise. A fault
// that does not compile is not counted. Some faults change nothing that can be seen
// ('<' for '<=' on values that never meet), so 100 % is not to be had.
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"time"
)

// target is a package that faults are planted in and the packages whose tests have
// to notice.
type target struct {
	dir   string
	tests []string
}

var targets = []target{
	{"specdata/joint", []string{"./specdata/joint"}},
	{"specdata/dryrun", []string{"./specdata/dryrun"}},
	{"server/desk", []string{"./server/desk"}},
	{"server/access", []string{"./server/access"}},
	{"server/store/rule", []string{"./server/store/rule"}},
}

// sharesFile holds the committed shares: a package, killed, planted.
const sharesFile = "tools/mutate/shares.txt"

func main() {
	n := flag.Int("n", 8, "`faults` a package; 0 plants all of them")
	list := flag.Bool("all", false, "list every survivor")
	write := flag.Bool("write", false, "write the measured shares to "+sharesFile)
	limit := flag.Duration("timeout", time.Minute, "longest time the tests of one fault may take")
	only := flag.String("package", "", "one `folder` only")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	code, err := run(ctx, *n, *only, *list, *write, *limit)
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		code = 3
	}
	stop()
	os.Exit(code)
}

func run(ctx context.Context, n int, only string, list, write bool, limit time.Duration) (int, error) {
	old, err := readShares(sharesFile)
	if err != nil {
		return 0, err
	}
	code := 0
	measured := map[string]share{}
	for _, t := range targets {
		if only != "" && only != t.dir {
			continue
		}
		all, err := mutants(t.dir)
		if err != nil {
			return 0, err
		}
		if len(all) == 0 {
			return 0, fmt.Errorf("%s holds no place for a fault; mend the list of packages in tools/mutate/main.go", t.dir)
		}
		got, survivors, err := judge(ctx, t, sample(all, n), limit)
		if err != nil {
			return 0, err
		}
		measured[t.dir] = got
		fmt.Printf("%s: %d of %d faults noticed, %.0f %% (of %d places)\n", t.dir, got.killed, got.planted, got.percent(), len(all))
		if was, ok := old[t.dir]; ok && n == was.sample && got.percent() < was.percent() {
			fmt.Printf("  below the committed %.0f %%: a test was lost, or code came without one\n", was.percent())
			code, list = 1, true
		}
		if list {
			for _, m := range survivors {
				fmt.Println("  unnoticed:", m)
			}
		}
	}
	if write {
		for dir, s := range measured {
			s.sample = n
			old[dir] = s
		}
		return 0, writeShares(sharesFile, old)
	}
	return code, nil
}

// judge plants each mutant and runs the tests against it. A mutant that does not
// compile is left out; one whose tests fail, or hang until the limit, is killed.
func judge(ctx context.Context, t target, ms []mutant, limit time.Duration) (share, []mutant, error) {
	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return share{}, nil, err
	}
	defer os.RemoveAll(dir)
	if out, err := test(ctx, t, "", 10*limit); err != nil {
		return share{}, nil, fmt.Errorf("the tests of %s fail without any fault: %w\n%s", t.dir, err, out)
	}
	var got share
	var survivors []mutant
	for _, m := range ms {
		overlay, err := m.overlay(dir)
		if err != nil {
			return share{}, nil, err
		}
		out, err := test(ctx, t, overlay, limit)
		if ctx.Err() != nil {
			return share{}, nil, ctx.Err()
		}
		switch {
		case err == nil:
			survivors = append(survivors, m)
		case strings.Contains(string(out), "[build failed]"), strings.Contains(string(out), "[setup failed]"):
			continue
		default:
			got.killed++
		}
		got.planted++
	}
	return got, survivors, nil
}

// overlay writes the mutated file beside a description that the go command reads
// instead of the real one, so that no source file is touched.
func (m mutant) overlay(dir string) (string, error) {
	src, err := os.ReadFile(m.file)
	if err != nil {
		return "", err
	}
	mutated := filepath.Join(dir, "mutated.go")
	if err := os.WriteFile(mutated, m.plant(src), 0o600); err != nil {
		return "", err
	}
	real, err := filepath.Abs(m.file)
	if err != nil {
		return "", err
	}
	text, err := json.Marshal(map[string]any{"Replace": map[string]string{real: mutated}})
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "overlay.json")
	return name, os.WriteFile(name, text, 0o600)
}

func test(ctx context.Context, t target, overlay string, limit time.Duration) ([]byte, error) {
	args := []string{"test", "-vet=off", "-failfast", "-timeout", limit.String()}
	if overlay != "" {
		args = append(args, "-overlay", overlay)
	}
	cmd := exec.CommandContext(ctx, "go", append(args, t.tests...)...)
	return cmd.CombinedOutput()
}

// share counts what was planted and what the tests noticed.
type share struct{ killed, planted, sample int }

func (s share) percent() float64 {
	if s.planted == 0 {
		return 0
	}
	return 100 * float64(s.killed) / float64(s.planted)
}

func readShares(name string) (map[string]share, error) {
	f, err := os.Open(name)
	if errors.Is(err, os.ErrNotExist) {
		return map[string]share{}, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	shares := map[string]share{}
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		w := strings.Fields(lines.Text())
		if len(w) != 4 {
			return nil, fmt.Errorf("%s: %q is not a package, killed, planted and the sample's size", name, lines.Text())
		}
		var n [3]int
		for i := range n {
			if n[i], err = strconv.Atoi(w[i+1]); err != nil {
				return nil, fmt.Errorf("%s: %q: %w", name, lines.Text(), err)
			}
		}
		shares[w[0]] = share{n[0], n[1], n[2]}
	}
	return shares, lines.Err()
}

func writeShares(name string, shares map[string]share) error {
	var b strings.Builder
	b.WriteString("# package, faults noticed, faults planted, faults asked for. Written by: go run ./tools/mutate -write\n")
	dirs := make([]string, 0, len(shares))
	for d := range shares {
		dirs = append(dirs, d)
	}
	sort.Strings(dirs)
	for _, d := range dirs {
		s := shares[d]
		fmt.Fprintf(&b, "%s %d %d %d\n", d, s.killed, s.planted, s.sample)
	}
	return os.WriteFile(name, []byte(b.String()), 0o644)
}
