package sqlite

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/storetest"
	"proofload/specdata/document"
)

var cycles = flag.Int("cycles", 20, "times to kill a process that publishes")

// childVariable makes the test program publish to the store it names until it is
// killed, instead of testing.
const childVariable = "PROOFLOAD_TEST_PUBLISH_TO"

func TestMain(m *testing.M) {
	if path := os.Getenv(serveVariable); path != "" {
		if err := serveActs(path); err != nil {
			fmt.Println("failed:", err)
		}
		return
	}
	if path := os.Getenv(childVariable); path != "" {
		if err := publishUntilKilled(path); err != nil {
			fmt.Println("failed:", err)
		}
		return
	}
	m.Run()
}

const childWriters = 4

// publishUntilKilled publishes from several goroutines, each to records of its own, and
// prints a line for each publication that was acknowledged.
func publishUntilKilled(path string) error {
	ctx := context.Background()
	set := usual(Options{})
	set.tail, set.checkpoint = 40, 100
	s, err := open(ctx, path, set)
	if err != nil {
		return err
	}
	var mu sync.Mutex
	var wg sync.WaitGroup
	errs := make(chan error, childWriters)
	for w := range childWriters {
		wg.Go(func() {
			base := int64(0)
			if r, err := s.Get(ctx, storetest.Bolt(10*w+1, 1).Name(), s.head.Load().Position); err == nil {
				base = r.Number
				// Who does not know how its last publication went publishes it again.
				p, err := childPublication(w, base-1)
				at := int64(0)
				if err == nil {
					at, err = s.Publish(ctx, p)
				}
				if err != nil || at != r.Position {
					errs <- fmt.Errorf("publishing again under key %s gives %d, %v; want %d", p.Key, at, err, r.Position)
					return
				}
			}
			for ; ; base++ {
				p, err := childPublication(w, base)
				at := int64(0)
				if err == nil {
					at, err = s.Publish(ctx, p)
				}
				if err != nil {
					errs <- err
					return
				}
				mu.Lock()
				fmt.Printf("acknowledged %d %d %d\n", w, base+1, at)
				mu.Unlock()
			}
		})
	}
	return <-errs
}

// childPublication carries a key, and notes that say which it was.
func childPublication(w int, base int64) (store.Publication, error) {
	changes, err := childChanges(w, base)
	p := storetest.Publication(int(base), changes...)
	p.Key = fmt.Sprint("child-", w, "-", base)
	p.Notes = func(position int64, _ time.Time) ([]store.NoteWrite, error) {
		return []store.NoteWrite{
			{Space: "child", Key: p.Key, Terms: []string{fmt.Sprint("writer-", w)}, Body: fmt.Append(nil, position), Time: storetest.Epoch},
			{Space: "last", Key: fmt.Sprint(w), Base: base, Body: fmt.Append(nil, base+1), Time: storetest.Epoch},
		}, nil
	}
	return p, err
}

func childChanges(w int, base int64) (changes []store.Change, err error) {
	for i := range 2 {
		bolt := storetest.Bolt(10*w+1+i, int(base%300)+1)
		text, err := document.Canonical(bolt)
		if err != nil {
			return nil, err
		}
		changes = append(changes, store.Change{Name: bolt.Name(), Base: base, Document: text})
	}
	return changes, nil
}

// A process that is killed while it publishes loses nothing it acknowledged and leaves
// nothing by halves. The page cache survives this; power failures are another test.
func TestKill(t *testing.T) {
	t.Parallel()
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "test.db")
	r := rand.New(rand.NewPCG(3, 4))
	acknowledged := map[[2]int64]int64{} // position by writer and revision
	for cycle := range *cycles {
		cmd := exec.Command(program)
		cmd.Env = append(os.Environ(), childVariable+"="+path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewReader(out)
		before := len(acknowledged)
		for {
			line, err := lines.ReadString('\n')
			if err == io.EOF {
				break // a line that was cut off is no acknowledgement
			}
			if err != nil {
				t.Fatal(err)
			}
			var w, number, at int64
			if _, err := fmt.Sscanf(line, "acknowledged %d %d %d", &w, &number, &at); err != nil {
				t.Fatalf("the publishing process says %q", strings.TrimSpace(line))
			}
			acknowledged[[2]int64{w, number}] = at
			if len(acknowledged) == before+1 {
				time.AfterFunc(time.Duration(1+r.IntN(60))*time.Millisecond, func() { cmd.Process.Kill() })
			}
		}
		cmd.Wait()
		verifyKilled(t, path, acknowledged)
		if t.Failed() {
			t.Fatalf("after cycle %d", cycle+1)
		}
	}
	t.Logf("%d publications acknowledged in %d cycles, none lost", len(acknowledged), *cycles)
}

func verifyKilled(t *testing.T, path string, acknowledged map[[2]int64]int64) {
	t.Helper()
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for key, at := range acknowledged {
		for i := range 2 {
			name := storetest.Bolt(int(10*key[0])+1+i, 1).Name()
			if r, err := s.GetRevision(t.Context(), name, key[1]); err != nil || r.Position != at {
				t.Errorf("%s revision %d was acknowledged at position %d: %+v, %v", name, key[1], at, r, err)
			}
		}
	}
	// Every publication has its two notes, whether it was acknowledged or not.
	for w := range childWriters {
		number := int64(0)
		if r, err := s.Get(t.Context(), storetest.Bolt(10*w+1, 1).Name(), s.head.Load().Position); err == nil {
			number = r.Number
			if n, err := s.GetNote(t.Context(), "child", r.Key); err != nil || string(n.Body) != fmt.Sprint(r.Position) {
				t.Errorf("the publication under key %q has the note %+v, %v", r.Key, n, err)
			}
		}
		if n, err := s.GetNote(t.Context(), "last", fmt.Sprint(w)); number > 0 && (err != nil || n.Version != number || string(n.Body) != fmt.Sprint(number)) {
			t.Errorf("writer %d is at revision %d, its note at %+v, %v", w, number, n, err)
		}
	}
	head, err := s.Head(t.Context())
	if err != nil || head.Revisions != 2*head.Position {
		t.Errorf("head %+v, %v; every publication has two revisions", head, err)
	}
	for after := int64(0); after < head.Position; {
		rs, err := s.Log(t.Context(), after, head.Position, store.MaxLimit)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range rs {
			if r.Position != after+1+int64(i)/2 {
				t.Fatalf("revision %d behind position %d is of position %d", i, after, r.Position)
			}
		}
		after = rs[len(rs)-1].Position
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}
