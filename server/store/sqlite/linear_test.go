package sqlite

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"proofload/server/store"
	"proofload/server/store/storetest"
)

var operations = flag.Int("operations", 4000, "operations whose history must be linearizable")

const (
	// serveVariable makes the test program operate on the store it names, as its input
	// says, instead of testing; faultVariable names a fault that it has.
	serveVariable = "PROOFLOAD_TEST_SERVE"
	faultVariable = "PROOFLOAD_TEST_FAULT"
)

// serveActs carries out operations, a line each, all at once as they come.
func serveActs(path string) error {
	ctx := context.Background()
	set := usual(Options{})
	set.tail, set.checkpoint = 40, 100
	file, err := open(ctx, path, set)
	if err != nil {
		return err
	}
	var s store.Store = file
	if plant := storetest.Mutants[os.Getenv(faultVariable)]; plant != nil {
		s = plant(s)
	}
	var mu sync.Mutex
	for in := bufio.NewReader(os.Stdin); ; {
		var id int64
		var a storetest.Act
		if _, err := fmt.Fscanln(in, &id, &a.Do, &a.Object, &a.Base, &a.Value); err != nil {
			return err
		}
		go func() {
			seen, err := storetest.Perform(ctx, s, a)
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				fmt.Println("failed:", err)
				os.Exit(1)
			}
			fmt.Println(id, seen.Outcome, seen.Number, seen.Value)
		}()
	}
}

// operator is a process that operates on a store.
type operator struct {
	cmd  *exec.Cmd
	in   io.Writer
	dead chan struct{} // closed once nothing of it can happen any more
	said string        // what it said instead of an answer

	mu      sync.Mutex
	waiting map[int64]chan storetest.Seen
}

func startOperator(path, fault string) (*operator, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, err
	}
	o := &operator{cmd: exec.Command(program), dead: make(chan struct{}), waiting: map[int64]chan storetest.Seen{}}
	o.cmd.Env = append(os.Environ(), serveVariable+"="+path, faultVariable+"="+fault)
	if o.in, err = o.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := o.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := o.cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		for lines := bufio.NewReader(out); ; {
			line, err := lines.ReadString('\n')
			if err != nil {
				break // a line that was cut off is no answer
			}
			var id int64
			var seen storetest.Seen
			if _, err := fmt.Sscanln(line, &id, &seen.Outcome, &seen.Number, &seen.Value); err != nil {
				o.said = line
				break
			}
			o.mu.Lock()
			o.waiting[id] <- seen
			delete(o.waiting, id)
			o.mu.Unlock()
		}
		o.cmd.Process.Kill()
		o.cmd.Wait()
		close(o.dead)
	}()
	return o, nil
}

func (o *operator) perform(id int64, a storetest.Act) (storetest.Seen, error) {
	answer := make(chan storetest.Seen, 1)
	o.mu.Lock()
	o.waiting[id] = answer
	fmt.Fprintln(o.in, id, int(a.Do), a.Object, a.Base, a.Value) // to the dead it goes unheard
	o.mu.Unlock()
	select {
	case seen := <-answer:
		return seen, nil
	case <-o.dead:
	}
	select {
	case seen := <-answer: // it answered before it died
		return seen, nil
	default:
	}
	if o.said != "" {
		return storetest.Seen{}, fmt.Errorf("the operating process says %q", o.said)
	}
	return storetest.Seen{}, nil
}

// killed drives a store in a process that is killed again and again, so many
// operations apart, and judges the history.
func killed(path, fault string, l storetest.Load, apart int64) (kills int, err error) {
	var mu sync.RWMutex
	now, err := startOperator(path, fault)
	if err != nil {
		return 0, err
	}
	var ids atomic.Int64
	history, err := storetest.Drive(l, func(a storetest.Act) (storetest.Seen, error) {
		id := ids.Add(1)
		if id%apart == 0 {
			mu.RLock()
			old := now
			old.cmd.Process.Kill() // while the others wait for its answers
			mu.RUnlock()
			mu.Lock()
			defer mu.Unlock()
			// On a busy machine the acts until the next kill may pass, unheard, before
			// this one has the lock: then the other killer has begun the next process.
			if now == old {
				<-old.dead
				if old.said != "" {
					return storetest.Seen{}, fmt.Errorf("the operating process says %q", old.said)
				}
				kills++
				next, err := startOperator(path, fault)
				if err != nil {
					return storetest.Seen{}, err
				}
				now = next
			}
			return now.perform(id, a)
		}
		mu.RLock()
		defer mu.RUnlock()
		return now.perform(id, a)
	})
	now.cmd.Process.Kill()
	<-now.dead
	if err != nil {
		return kills, err
	}
	return kills, storetest.Linearizable(history)
}

// What a store answers, through kills, is what one that does one thing at a time
// could have answered.
func TestLinearizableThroughKills(t *testing.T) {
	t.Parallel()
	const most = 100000 // in one history, which is judged in memory
	kills := 0
	for done := 0; done < *operations; done += most {
		path := filepath.Join(t.TempDir(), "test.db")
		l := storetest.Load{Clients: 6, Objects: 12, Operations: min(most, *operations-done), Seed: uint64(7 + done)}
		n, err := killed(path, "", l, 500)
		if err != nil {
			t.Fatal(err)
		}
		kills += n
		s, err := Open(t.Context(), path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(s.Check(t.Context()), s.Close()); err != nil {
			t.Error(err)
		}
	}
	if kills < *operations/1000 {
		t.Errorf("%d operations met %d kills, too few to mean something", *operations, kills)
	}
	t.Logf("%d operations through %d kills", *operations, kills)
}

// The check is worth something only if it catches the faults it is for.
func TestLinearizableThroughKillsCatches(t *testing.T) {
	t.Parallel()
	for _, fault := range slices.Sorted(maps.Keys(storetest.Mutants)) {
		l := storetest.Load{Clients: 6, Objects: 2, Operations: 900, Seed: 7}
		if _, err := killed(filepath.Join(t.TempDir(), "test.db"), fault, l, 300); err == nil {
			t.Errorf("a store with the fault %s passes", fault)
		} else {
			t.Logf("%s: %v", fault, err)
		}
	}
}
