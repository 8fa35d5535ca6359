package sqlite

import (
	"context"
	"errors"
	"fmt"
	"sync"
)

// pool lends reading connections. It opens them when they are first needed and
// lends the one that came back last, whose cache is warm.
type pool struct {
	// slots holds a token for every connection that may be out.
	slots chan struct{}
	open  func(context.Context) (*conn, error)

	mu   sync.Mutex
	idle []*conn
}

func newPool(n int, open func(context.Context) (*conn, error)) *pool {
	return &pool{slots: make(chan struct{}, n), open: open}
}

// use lends a connection to work, whose use of it ends with the context. A
// connection on which the engine gave up is not lent again.
func (p *pool) use(ctx context.Context, work func(*conn) error) (err error) {
	select {
	case p.slots <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-p.slots }()
	c, err := p.get(ctx)
	if err != nil {
		return err
	}
	if err = attend(ctx, c, work); !errors.Is(err, errGaveUp) {
		p.put(c)
	}
	return err
}

// useFresh is use with a connection that nobody used before and nobody will again.
func (p *pool) useFresh(ctx context.Context, work func(*conn) error) (err error) {
	select {
	case p.slots <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-p.slots }()
	c, err := p.open(ctx)
	if err != nil {
		return err
	}
	if err = attend(ctx, c, work); errors.Is(err, errGaveUp) {
		return err
	}
	return errors.Join(err, c.close())
}

// errGaveUp says that the engine did, and that its connection is good for nothing,
// not even for closing.
var errGaveUp = errors.New("engine gave up")

// attend lets work use a connection until the context ends. The engine runs in its
// own small memory and panics when that is used up.
func attend(ctx context.Context, c *conn, work func(*conn) error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%w: %v", errGaveUp, r)
			return
		}
		c.SetInterrupt(context.Background())
	}()
	c.SetInterrupt(ctx)
	return work(c)
}

func (p *pool) get(ctx context.Context) (*conn, error) {
	p.mu.Lock()
	n := len(p.idle)
	if n > 0 {
		c := p.idle[n-1]
		p.idle = p.idle[:n-1]
		p.mu.Unlock()
		return c, nil
	}
	p.mu.Unlock()
	return p.open(ctx)
}

func (p *pool) put(c *conn) {
	p.mu.Lock()
	p.idle = append(p.idle, c)
	p.mu.Unlock()
}

// close waits for the connections that are out and closes all.
func (p *pool) close() error {
	for range cap(p.slots) {
		p.slots <- struct{}{}
	}
	var errs []error
	for _, c := range p.idle {
		errs = append(errs, c.close())
	}
	p.idle = nil
	return errors.Join(errs...)
}
