// Command mutate plants faults in the packages whose numbers and decisions can hurt
// someone, one at a time, and prints what share of them the tests notice.
//
//	go run ./tools/mutate             the committed samples, compared with the committed shares
//	go run ./tools/mutate -n 0 -all   every fault, survivors listed with their keys
//	go run ./tools/mutate -n 50 -write   commits the shares that were measured
//
// It exits 1 where a share is below the committed one: it may only rise. A sample is the
// same in every run. A fault that does not compile is no fault and is counted apart, and
// so is one that tools/mutate/equivalent.txt names with the reason why nobody could see
// it; an entry there whose code is gone is an error. A fault under which the tests run
// longer than -timeout is counted as noticed, and the report says how many there were.
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
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

// sharesFile holds the committed shares: a package, killed, planted, the sample's size.
const sharesFile = "tools/mutate/shares.txt"

// equivalentFile holds the keys of faults that change nothing anybody can see, each with
// the reason.
const equivalentFile = "tools/mutate/equivalent.txt"

func main() {
	n := flag.Int("n", -1, "`faults` a package; 0 plants all of them, and left out those of the committed sample")
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
	same, err := readEquivalent(equivalentFile)
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
		seen := 0
		all = slices.DeleteFunc(all, func(m mutant) bool {
			if _, ok := same[m.key]; ok {
				delete(same, m.key)
				seen++
				return true
			}
			return false
		})
		was, committed := old[t.dir]
		size := n
		if n < 0 {
			size = defaultSample
			if committed {
				size = was.sample
			}
		}
		got, survivors, err := judge(ctx, t, sample(all, size), limit)
		if err != nil {
			return 0, err
		}
		got.sample = size
		measured[t.dir] = got
		fmt.Printf("%s: %d of %d faults noticed, %.1f %%, %d of them by running too long; %d did not compile (%d places, and %d whose faults nobody could see)\n",
			t.dir, got.killed, got.planted, got.percent(), got.hung, got.uncompiled, len(all), seen)
		if committed && size == was.sample && got.percent() < was.percent() {
			fmt.Printf("  below the committed %.0f %%: a test was lost, or code came without one\n", was.percent())
			code, list = 1, true
		}
		if list {
			for _, m := range survivors {
				fmt.Println("  unnoticed:", m.key, m)
			}
		}
	}
	if only == "" && len(same) > 0 {
		keys := slices.Sorted(maps.Keys(same))
		return 0, fmt.Errorf("%s names faults that are not there any more, take them out: %s", equivalentFile, strings.Join(keys, ", "))
	}
	if write {
		maps.Copy(old, measured)
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
			got.uncompiled++
			continue
		case strings.Contains(string(out), "panic: test timed out after"):
			got.hung++
			got.killed++
		case strings.Contains(string(out), "--- FAIL"), strings.Contains(string(out), "\npanic:"), strings.Contains(string(out), "fatal error:"), strings.Contains(string(out), "FAIL\t"):
			got.killed++
		default:
			return share{}, nil, fmt.Errorf("%s: go test failed, but no test did: %w\n%s", m, err, out)
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
type share struct {
	killed, planted, sample int
	// hung counts those of killed that ran into the time limit, uncompiled those that
	// were left out because they do not compile.
	hung, uncompiled int
}

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
		shares[w[0]] = share{killed: n[0], planted: n[1], sample: n[2]}
	}
	return shares, lines.Err()
}

// defaultSample is how many faults are planted in a package that has no committed share.
const defaultSample = 8

// readEquivalent reads the keys of faults that nobody could see, and why.
func readEquivalent(name string) (map[string]string, error) {
	text, err := os.ReadFile(name)
	if errors.Is(err, os.ErrNotExist) {
		return map[string]string{}, nil
	}
	if err != nil {
		return nil, err
	}
	all := map[string]string{}
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line == "" || line[0] == '#' {
			continue
		}
		key, why, _ := strings.Cut(line, " ")
		if len(key) != 16 || len(strings.Fields(why)) < 4 || all[key] != "" {
			return nil, fmt.Errorf("%s: %q is not a key of 16 digits and the reason why nobody can see the fault, or is there twice", name, line)
		}
		all[key] = why
	}
	return all, nil
}

func writeShares(name string, shares map[string]share) error {
	var b strings.Builder
	b.WriteString("# package, faults noticed, faults planted, faults asked for. Written by: go run ./tools/mutate -n N -write\n")
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
