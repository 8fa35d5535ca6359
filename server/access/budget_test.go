package access

import (
	"context"
	"fmt"
	"net/netip"
	"testing"
	"testing/synctest"
	"time"

	"proofload/server/fault"
)

func limited(err error) bool {
	e := fault.From(err)
	return err != nil && e.Kind == fault.LimitRate && e.RetryAfter >= time.Second
}

// A budget is spent at once, earned again with time, and another caller has their own.
func TestSpend(t *testing.T) {
	now := time.Unix(1_000_000, 0)
	b := NewBudgets(Limits{Rates: map[Cost]Rate{Request: {2, 5}, Wrong: {1, 1}}, Watches: 2, AtOnce: 1}, func() time.Time { return now })
	spend := func(payer string, times int) (passed int) {
		for range times {
			if err := b.Spend(payer, Request); err == nil {
				passed++
			} else if !limited(err) {
				t.Error(err)
			}
		}
		return passed
	}
	if got := spend("a", 9); got != 5 {
		t.Errorf("%d of 9 at once pass, want 5", got)
	}
	if got := spend("b", 1); got != 1 {
		t.Error("another caller pays for the first")
	}
	now = now.Add(2 * time.Second)
	if got := spend("a", 9); got != 4 {
		t.Errorf("after two seconds %d pass, want 4", got)
	}
	now = now.Add(time.Hour)
	if got := spend("a", 9); got != 5 {
		t.Errorf("after an hour %d pass, want 5", got)
	}
	if got := spend(thisMachine, 9); got != 9 {
		t.Errorf("%d of 9 of this machine pass", got)
	}
	if err := b.Refused(fault.New(fault.TokenMissing, "x"), Origin{Address: "192.0.2.1"}); limited(err) {
		t.Error("no token counts as a wrong one")
	}
	wrong := fault.New(fault.TokenInvalid, "x")
	if first, second := b.Refused(wrong, Origin{Local: true}), b.Refused(wrong, Origin{Local: true}); limited(first) || !limited(second) {
		t.Errorf("wrong tokens: %v, %v", first, second)
	}
}

func TestWatches(t *testing.T) {
	b := NewBudgets(Limits{Watches: 2, AtOnce: 1}, time.Now)
	a, other := From(t.Context(), Origin{Address: "192.0.2.1"}), From(t.Context(), Origin{Address: "192.0.2.2"})
	leave, err := b.Watch(a)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Watch(a); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Watch(a); !limited(err) {
		t.Errorf("a third watch: %v", err)
	}
	if _, err := b.Watch(other); err != nil {
		t.Errorf("another caller: %v", err)
	}
	leave()
	leave() // twice gives one place
	if _, err := b.Watch(a); err != nil {
		t.Errorf("after one ended: %v", err)
	}
	if _, err := b.Watch(a); !limited(err) {
		t.Errorf("leaving twice gave two places: %v", err)
	}
}

// Heavy work waits for a place for a while and is then told to come back.
func TestWork(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBudgets(Limits{Watches: 1, AtOnce: 1}, time.Now)
		leave, err := b.Work(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := b.Work(t.Context()); !limited(err) {
			t.Errorf("a second: %v", err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := b.Work(ctx); err == nil || limited(err) {
			t.Errorf("one who went away: %v", err)
		}
		go func() { time.Sleep(time.Second); leave() }()
		if _, err := b.Work(t.Context()); err != nil {
			t.Errorf("one who waits: %v", err)
		}
	})
}

func TestOrigin(t *testing.T) {
	proxy := netip.MustParsePrefix("10.0.0.0/8")
	open := NewGate(nil, Settings{Proxies: []netip.Prefix{proxy}})
	shut := NewGate(nil, Settings{Required: true, Hosts: []string{"torque.example"}})
	for _, c := range []struct {
		gate          *Gate
		remote, host  string
		header        map[string][]string
		address, says string
		local         bool
	}{
		{open, "127.0.0.1:9", "localhost:7450", nil, "127.0.0.1", "", true},
		{open, "[::1]:9", "[::1]:7450", nil, "::1", "", true},
		{open, "192.0.2.9:9", "localhost", nil, "192.0.2.9", "", false},
		{open, "127.0.0.1:9", "localhost", map[string][]string{"Via": {"1.1 x"}}, "127.0.0.1", "", false},
		{open, "127.0.0.1:9", "evil.example", nil, "", "HOST_UNKNOWN", false},
		// Only a trusted proxy says where a request came from, and only its nearest word counts.
		{open, "192.0.2.9:9", "localhost", map[string][]string{"X-Forwarded-For": {"198.51.100.1"}}, "192.0.2.9", "", false},
		{open, "10.1.1.1:9", "localhost", map[string][]string{"X-Forwarded-For": {"198.51.100.1"}}, "198.51.100.1", "", false},
		{open, "10.1.1.1:9", "localhost", map[string][]string{"X-Forwarded-For": {"203.0.113.5, 198.51.100.1", "10.2.2.2"}}, "198.51.100.1", "", false},
		{open, "10.1.1.1:9", "localhost", map[string][]string{"X-Forwarded-For": {"rubbish"}}, "10.1.1.1", "", false},
		{shut, "192.0.2.9:9", "torque.example", nil, "192.0.2.9", "", false},
		{shut, "192.0.2.9:9", "Torque.Example:443", nil, "192.0.2.9", "", false},
		{shut, "192.0.2.9:9", "other.example", nil, "", "HOST_UNKNOWN", false},
		{NewGate(nil, Settings{Required: true}), "192.0.2.9:9", "any.example", nil, "192.0.2.9", "", false},
		{nil, "127.0.0.1:9", "localhost", nil, "127.0.0.1", "", true},
	} {
		o, err := c.gate.OriginOf(c.remote, c.host, func(f string) []string { return c.header[f] })
		if c.says != "" {
			if string(fault.From(err).Kind) != c.says || err == nil {
				t.Errorf("%s at %s: %v", c.remote, c.host, err)
			}
			continue
		}
		if err != nil || o.Address != c.address || o.Local != c.local {
			t.Errorf("%s at %s with %v: %+v, %v", c.remote, c.host, c.header, o, err)
		}
	}
	for address, payer := range map[string]string{"192.0.2.1": "192.0.2.1", "2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64", "fe80::1%eth0": "fe80::/64", "x": "x"} {
		if got := Payer(From(t.Context(), Origin{Address: address})); got != payer {
			t.Errorf("%s pays as %s", address, got)
		}
	}
	if got := Payer(With(t.Context(), &Token{ID: "abc"})); got != "token abc" {
		t.Error(got)
	}
}

// The memory of budgets does not grow with the number of callers.
func TestAccountsAreBounded(t *testing.T) {
	b := NewBudgets(Limits{Rates: map[Cost]Rate{Request: {1, 1}}, Watches: 1, AtOnce: 1}, time.Now)
	for i := range maxAccounts + 100 {
		b.Spend(fmt.Sprint(i), Request)
	}
	if n := len(b.accounts); n > maxAccounts {
		t.Errorf("%d accounts", n)
	}
}
