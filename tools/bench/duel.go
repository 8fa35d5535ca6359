package main

import (
	"context"
	"sync"
	"sync/atomic"
	"time"
)

// side is one of the two that are compared. A call works for a while and says how
// much it did and how long that took.
type side func(context.Context) (done int, took time.Duration, err error)

const minRounds = 3

// duel lets both sides work in turn, in shuffled order, so that both meet the same
// noise, until the time of a line is used up. It returns rates per second, and costs in
// processor time, round by round.
func (w *world) duel(ctx context.Context, ours, ceiling side) (measured, error) {
	var m measured
	sides := []side{ours, ceiling}
	rates, costs := []*[]float64{&m.ours, &m.ceiling}, []*[]float64{&m.oursCost, &m.ceilingCost}
	// What is done once, such as filling pools, is nobody's round.
	for _, s := range sides {
		if _, _, err := s(ctx); err != nil {
			return m, err
		}
	}
	for begin := time.Now(); len(m.ours) < minRounds || time.Since(begin) < w.time; {
		for _, i := range w.random.Perm(2) {
			before := processorTime()
			done, took, err := sides[i](ctx)
			if err != nil {
				return m, err
			}
			*rates[i] = append(*rates[i], float64(done)/took.Seconds())
			*costs[i] = append(*costs[i], float64(processorTime()-before)/float64(done))
		}
	}
	return m, nil
}

// callers returns a side of many callers, each of which calls again as soon as it has
// its answer, for a slice of the line's time and once at least.
func (w *world) callers(n int, call func(ctx context.Context, caller int) error) side {
	slice := w.time / 24
	return func(ctx context.Context) (int, time.Duration, error) {
		var done atomic.Int64
		var failed atomic.Pointer[error]
		var wg sync.WaitGroup
		begin := time.Now()
		for i := range n {
			wg.Go(func() {
				// Once at least: a busy machine may let a caller begin after the slice.
				for again := true; again && failed.Load() == nil; again = time.Since(begin) < slice {
					if err := call(ctx, i); err != nil {
						failed.Store(&err)
						return
					}
					done.Add(1)
				}
			})
		}
		wg.Wait()
		if err := failed.Load(); err != nil {
			return 0, 0, *err
		}
		return int(done.Load()), time.Since(begin), nil
	}
}

// batch makes a side that does a fixed amount of work a call.
func batch(n int, work func(context.Context) error) side {
	return func(ctx context.Context) (int, time.Duration, error) {
		begin := time.Now()
		err := work(ctx)
		return n, time.Since(begin), err
	}
}

// each times one thing again and again, in units, until the time of a line is used
// up.
func (w *world) each(ctx context.Context, unit time.Duration, work func(ctx context.Context, i int) (took time.Duration, err error)) (measured, error) {
	var m measured
	for begin := time.Now(); len(m.ours) < minRounds || time.Since(begin) < w.time; {
		took, err := work(ctx, len(m.ours))
		if err != nil {
			return m, err
		}
		m.ours = append(m.ours, float64(took)/float64(unit))
	}
	return m, nil
}
