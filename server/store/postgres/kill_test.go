package postgres

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
	"proofload/specdata"
	"proofload/specdata/document"
)

// childVariable makes the test program publish to the store it names until it is
// killed, instead of testing.
const childVariable = "PROOFLOAD_TEST_PUBLISH_TO"

const childWriters = 4

// publishUntilKilled publishes from several goroutines, each to records of its own, and
// prints a line for each publication that was acknowledged.
func publishUntilKilled(address string) error {
	ctx := context.Background()
	s, err := Open(ctx, address, Options{})
	if err != nil {
		return err
	}
	var mu sync.Mutex
	return publishAlways(ctx, s, 0, func(w, number, at int64) {
		mu.Lock()
		defer mu.Unlock()
		fmt.Printf("acknowledged %d %d %d\n", w, number, at)
	})
}

// publishAlways publishes as writers first to first+childWriters-1 until the context
// ends or one fails, and tells of every publication that was acknowledged.
func publishAlways(ctx context.Context, s *Store, first int64, acknowledged func(writer, number, position int64)) error {
	errs := make(chan error, childWriters)
	for w := first; w < first+childWriters; w++ {
		go func() { errs <- publishAs(ctx, s, w, acknowledged) }()
	}
	var err error
	for range childWriters {
		if e := <-errs; err == nil && !errors.Is(e, context.Canceled) {
			err = e
		}
	}
	return err
}

func publishAs(ctx context.Context, s *Store, w int64, acknowledged func(writer, number, position int64)) error {
	base := int64(0)
	head, err := s.Head(ctx)
	if err != nil {
		return err
	}
	if r, err := s.Get(ctx, childBolt(w, 0, 1).Name(), head.Position); err == nil {
		base = r.Number
	} else if !errors.Is(err, store.ErrNotFound) {
		return err
	}
	for ; ; base++ {
		changes, err := childChanges(w, base)
		if err != nil {
			return err
		}
		at, err := s.Publish(ctx, storetest.Publication(int(base), changes...))
		if err != nil {
			return err
		}
		acknowledged(w, base+1, at)
	}
}

func childBolt(w int64, i int, torque int) *specdata.Fastener {
	return storetest.Bolt(int(10*w)+1+i, torque)
}

func childChanges(w, base int64) (changes []store.Change, err error) {
	for i := range 2 {
		bolt := childBolt(w, i, int(base%300)+1)
		text, err := document.Canonical(bolt)
		if err != nil {
			return nil, err
		}
		changes = append(changes, store.Change{Name: bolt.Name(), Base: base, Document: text})
	}
	return changes, nil
}

// A process that is killed while it publishes loses nothing it acknowledged and leaves
// nothing by halves, nor anything that keeps the next from publishing.
func TestKill(t *testing.T) {
	t.Parallel()
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	address := pgtest.Shared(t).Address()
	reader := openTest(t, address)
	r := rand.New(rand.NewPCG(3, 4))
	acknowledged := map[[2]int64]int64{} // position by writer and revision
	for cycle := range *cycles {
		cmd := exec.Command(program)
		cmd.Env = append(os.Environ(), childVariable+"="+address)
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
		verifyAcknowledged(t, reader, acknowledged)
		if t.Failed() {
			t.Fatalf("after cycle %d", cycle+1)
		}
	}
	t.Logf("%d publications acknowledged in %d cycles, none lost", len(acknowledged), *cycles)
}

// verifyAcknowledged fails unless every publication that was acknowledged is there, and
// every publication is there once and whole.
func verifyAcknowledged(t *testing.T, s *Store, acknowledged map[[2]int64]int64) {
	t.Helper()
	for key, at := range acknowledged {
		for i := range 2 {
			name := childBolt(key[0], i, 1).Name()
			if r, err := s.GetRevision(t.Context(), name, key[1]); err != nil || r.Position != at {
				t.Fatalf("%s revision %d was acknowledged at position %d: %+v, %v", name, key[1], at, r, err)
			}
		}
	}
	head, err := s.Head(t.Context())
	if err != nil || head.Revisions != 2*head.Position {
		t.Fatalf("head %+v, %v; every publication has two revisions", head, err)
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
