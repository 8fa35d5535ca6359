package access

import (
	"context"
	"runtime"
	"sync"
	"time"

	"proofload/server/fault"
)

// Cost is what a request is counted as.
type Cost string

// The costs.
const (
	Request Cost = "requests"
	// Heavy work takes a processor for long: lint, print, compare, draft.
	Heavy Cost = "lints and prints"
	// Replay is a watch that begins far back.
	Replay Cost = "replays of the log"
	// Wrong is a token that is not one.
	Wrong Cost = "wrong tokens"
)

// Rate is how often something may be done: so often a second for ever, and Burst
// times at once.
type Rate struct{ PerSecond, Burst float64 }

// Limits are the budget of one caller.
type Limits struct {
	Rates map[Cost]Rate
	// Watches is how many watches one caller may have open.
	Watches int
	// AtOnce is how many heavy requests are worked on at once, of all callers together.
	AtOnce int
}

// DefaultLimits returns the budget of a caller that the operator does not name.
func DefaultLimits() Limits {
	return Limits{
		Rates:   map[Cost]Rate{Request: {200, 1000}, Heavy: {10, 100}, Replay: {1, 100}, Wrong: {1, 10}},
		Watches: 1000, AtOnce: max(1, runtime.GOMAXPROCS(0)),
	}
}

// thisMachine is the payer of requests that are local. Anyone who is
// on this machine can load it in other ways: only what hurts others is counted.
const thisMachine = "this machine"

// Budgets count what callers do. All methods may be called from many goroutines. The
// nil Budgets let everything pass.
type Budgets struct {
	set Limits
	now func() time.Time
	// working has a place for every heavy request that is worked on.
	working chan struct{}

	mu       sync.Mutex
	accounts map[string]*account
}

// account is what one caller has left.
type account struct {
	left    map[Cost]float64
	seen    time.Time
	watches int
}

// maxAccounts bounds the memory; beyond it the accounts of idle callers are closed.
const maxAccounts = 20_000

// NewBudgets returns budgets; now is the clock.
func NewBudgets(set Limits, now func() time.Time) *Budgets {
	return &Budgets{set: set, now: now, working: make(chan struct{}, set.AtOnce), accounts: map[string]*account{}}
}

// Spend counts one request of a payer. The error is LimitRate, with the time after
// which there is budget again.
func (b *Budgets) Spend(payer string, c Cost) error {
	if b == nil || payer == thisMachine && c != Wrong {
		return nil
	}
	rate, ok := b.set.Rates[c]
	if !ok {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	a := b.account(payer)
	if a.left[c]--; a.left[c] >= 0 {
		return nil
	}
	wait := time.Duration((-a.left[c]) / rate.PerSecond * float64(time.Second))
	a.left[c]++ // a refusal costs nothing: who waits as told gets in
	return over(payer, c, rate, wait)
}

func over(payer string, c Cost, rate Rate, wait time.Duration) error {
	e := fault.New(fault.LimitRate, "%s has sent more %s than its budget; allowed: %g a second, %g at once; try again in %s", payer, c, rate.PerSecond, rate.Burst, max(wait.Round(time.Second), time.Second)).With("budget", string(c))
	e.RetryAfter = max(wait, time.Second)
	return e
}

// account returns the account of a payer with what has been earned since it was seen.
func (b *Budgets) account(payer string) *account {
	now := b.now()
	a := b.accounts[payer]
	if a == nil {
		if len(b.accounts) >= maxAccounts {
			for p, x := range b.accounts {
				if x.watches == 0 {
					delete(b.accounts, p)
				}
			}
		}
		a = &account{left: map[Cost]float64{}, seen: now}
		for c, r := range b.set.Rates {
			a.left[c] = r.Burst
		}
		b.accounts[payer] = a
	}
	if passed := now.Sub(a.seen).Seconds(); passed > 0 {
		for c, r := range b.set.Rates {
			a.left[c] = min(r.Burst, a.left[c]+passed*r.PerSecond)
		}
		a.seen = now
	}
	return a
}

// patience is how long heavy work waits for a place.
const patience = 2 * time.Second

// Work returns heavy work a place; call leave when it is done. The error is LimitRate
// where there is none for longer than it may wait.
func (b *Budgets) Work(ctx context.Context) (leave func(), err error) {
	if b == nil {
		return func() {}, nil
	}
	if err := b.Spend(Payer(ctx), Heavy); err != nil {
		return nil, err
	}
	late := time.NewTimer(patience)
	defer late.Stop()
	select {
	case b.working <- struct{}{}:
		return func() { <-b.working }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-late.C:
		e := fault.New(fault.LimitRate, "server is at work on %d heavy requests, which is the most at once; try again in a second", cap(b.working)).With("budget", string(Heavy))
		e.RetryAfter = time.Second
		return nil, e
	}
}

// Watch returns a watch of the caller a place; call leave when it ends. The error is
// LimitRate.
func (b *Budgets) Watch(ctx context.Context) (leave func(), err error) {
	if b == nil {
		return func() {}, nil
	}
	payer := Payer(ctx)
	b.mu.Lock()
	defer b.mu.Unlock()
	a := b.account(payer)
	if a.watches >= b.set.Watches {
		e := fault.New(fault.LimitRate, "%s has %d watches open, which is the most for one caller; end one, or list the log", payer, a.watches).With("budget", "watches")
		e.RetryAfter = 15 * time.Second
		return nil, e
	}
	a.watches++
	var once sync.Once
	return func() {
		once.Do(func() {
			b.mu.Lock()
			defer b.mu.Unlock()
			a.watches--
		})
	}, nil
}

// Refused counts a refusal of Identify where a token was sent that is not one, and
// returns the error to answer with: the refusal itself, or LimitRate where the caller
// has tried too many.
func (b *Budgets) Refused(err error, o Origin) error {
	if fault.From(err).Kind != fault.TokenInvalid {
		return err
	}
	if over := b.Spend(o.payer(), Wrong); over != nil {
		return over
	}
	return err
}

// Identify is the gate's, for what reads a token elsewhere than in a header: a wrong
// one counts.
func (b *Budgets) Identify(ctx context.Context, g *Gate, authorization string) (*Token, error) {
	o, _ := ctx.Value(originKey{}).(Origin)
	t, err := g.Identify(ctx, authorization, o)
	if err != nil {
		err = b.Refused(err, o)
	}
	return t, err
}
