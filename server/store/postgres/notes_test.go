package postgres

import (
	"errors"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
)

// Two servers write one note at once, each on what it has read, as two reviewers decide
// on one correction: every write that is acknowledged is counted, none is written over.
func TestNotesOfTwoServers(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	const servers, writers, each = 2, 3, 12
	var wg sync.WaitGroup
	var conflicts atomic.Int64
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for range servers {
		s := openTest(t, address)
		for range writers {
			wg.Go(func() {
				for done := 0; done < each; {
					count, base := 0, int64(0)
					n, err := s.GetNote(t.Context(), "counts", "one")
					if err == nil {
						base = n.Version
						count, err = strconv.Atoi(string(n.Body))
					}
					if err != nil && !errors.Is(err, store.ErrNotFound) {
						t.Error(err)
						return
					}
					err = s.WriteNotes(t.Context(), []store.NoteWrite{{Space: "counts", Key: "one", Base: base, Body: []byte(strconv.Itoa(count + 1)), Time: at}})
					switch {
					case err == nil:
						done++
					case errors.Is(err, store.ErrConflict):
						conflicts.Add(1)
					default:
						t.Error(err)
						return
					}
				}
			})
		}
	}
	wg.Wait()
	n, err := openTest(t, address).GetNote(t.Context(), "counts", "one")
	if want := servers * writers * each; err != nil || string(n.Body) != strconv.Itoa(want) || n.Version != int64(want) {
		t.Errorf("counted %s at version %d, %v, want %d", n.Body, n.Version, err, want)
	}
	if conflicts.Load() == 0 {
		t.Error("no two writes met; the test shows nothing")
	}
}
