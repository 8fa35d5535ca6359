// Package pulse watches whether the store answers, so that health tells the truth
// within a second and nobody waits for a database that is away.
package pulse

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// The store is asked every interval and has to answer within patience.
const (
	interval = 250 * time.Millisecond
	patience = 500 * time.Millisecond
)

// Pulse is what is known of the store. The nil Pulse knows nothing and calls all well.
type Pulse struct {
	head func(context.Context) (store.Head, error)

	// away is why the store does not answer, nil where it does.
	away     atomic.Pointer[fault.Error]
	position atomic.Int64

	mu       sync.Mutex
	watchers []func(ready bool)
}

// New returns the pulse of a store, which is taken for well until Run has asked it.
func New(s store.Store) *Pulse { return &Pulse{head: s.Head} }

// Watch calls a function at once and whenever the store goes away or comes back.
func (p *Pulse) Watch(told func(ready bool)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.watchers = append(p.watchers, told)
	told(p.away.Load() == nil)
}

// Run asks the store until the context ends.
func (p *Pulse) Run(ctx context.Context) {
	tick := time.NewTicker(interval)
	defer tick.Stop()
	for {
		p.ask(ctx)
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

// ask asks the store once. An answer that is late is none, and what still waits for
// it is left behind.
func (p *Pulse) ask(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	type answer struct {
		head store.Head
		err  error
	}
	got := make(chan answer, 1)
	go func() {
		h, err := p.head(ctx)
		got <- answer{h, err}
	}()
	var a answer
	select {
	case a = <-got:
	case <-ctx.Done():
		a.err = ctx.Err()
	}
	if errors.Is(ctx.Err(), context.Canceled) {
		return // the server stops; that says nothing of the store
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	was, now := p.away.Load() == nil, a.err == nil
	if now {
		p.position.Store(a.head.Position)
		p.away.Store(nil)
	} else {
		p.away.Store(why(a.err))
	}
	if now != was {
		for _, told := range p.watchers {
			told(now)
		}
	}
}

// why returns the error to answer with: what the store says of itself where it says
// something, StoreAway where it says nothing.
func why(err error) *fault.Error {
	e := fault.From(err)
	switch e.Kind {
	case fault.Internal, fault.DeadlineExceeded, fault.Cancelled:
		e = fault.New(fault.StoreAway, "store does not answer; nothing can be read or written until it does").Because(err)
		e.RetryAfter = time.Second
	}
	return e
}

// Position returns the newest position that was seen.
func (p *Pulse) Position() int64 {
	return p.position.Load()
}

// Err returns why the store cannot be used, or nil.
func (p *Pulse) Err() error {
	if p == nil {
		return nil
	}
	if e := p.away.Load(); e != nil {
		return e
	}
	return nil
}
