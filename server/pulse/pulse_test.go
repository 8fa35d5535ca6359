package pulse

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// A store that stops answering, and one that answers late, is known within a second,
// and so is its coming back.
func TestPulse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		var fails error
		var slow time.Duration
		p := &Pulse{head: func(ctx context.Context) (store.Head, error) {
			select {
			case <-time.After(slow):
			case <-ctx.Done():
				return store.Head{}, ctx.Err()
			}
			return store.Head{Position: 7}, fails
		}}
		var told []bool
		p.Watch(func(ready bool) { told = append(told, ready) })
		go p.Run(ctx)
		for _, c := range []struct {
			fails error
			slow  time.Duration
			ready bool
		}{{nil, 0, true}, {errors.New("connection refused"), 0, false}, {nil, 0, true}, {nil, time.Hour, false}, {nil, 0, true}} {
			fails, slow = c.fails, c.slow
			time.Sleep(time.Second)
			synctest.Wait()
			err := p.Err()
			if (err == nil) != c.ready || err != nil && (fault.From(err).Kind != fault.StoreAway || fault.From(err).RetryAfter == 0) {
				t.Errorf("%+v: %v", c, err)
			}
		}
		if p.Position() != 7 {
			t.Errorf("position %d", p.Position())
		}
		if want := []bool{true, false, true, false, true}; len(told) != len(want) {
			t.Errorf("told %v, want %v", told, want)
		}
		cancel()
		synctest.Wait()
		if err := (*Pulse)(nil).Err(); err != nil {
			t.Error(err)
		}
	})
}
