package postgres

import (
	"context"
	"net"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/jackc/pgx/v5/pgproto3"
	"github.com/jackc/pgx/v5/pgxpool"
)

// proxy is between a store and its database and makes statements fail: the
// database really refuses them, and its error goes on as a serialization failure.
type proxy struct {
	// decide says what becomes of a statement, by its number and text.
	decide func(n int64, sql string) fate
	count  atomic.Int64
	// hit counts the statements that something became of.
	hit atomic.Int64
}

type fate int

const (
	pass fate = iota
	// fail makes the statement fail with 40001.
	fail
	// cutBefore breaks the connection before the statement reaches the database,
	// cutAfter when its answer comes back.
	cutBefore
	cutAfter
)

// configure puts the proxy into a store's connections.
func (p *proxy) configure(cfg *pgxpool.Config) {
	dial := cfg.ConnConfig.DialFunc
	cfg.ConnConfig.DialFunc = func(ctx context.Context, network, address string) (net.Conn, error) {
		server, err := dial(ctx, network, address)
		if err != nil {
			return nil, err
		}
		ours, theirs := net.Pipe()
		go p.serve(ours, server)
		return theirs, nil
	}
}

// bad is a statement that the database refuses.
const bad = `SELECT refused_by_the_proxy`

func (p *proxy) serve(client, server net.Conn) {
	var once sync.Once
	end := func() { once.Do(func() { client.Close(); server.Close() }) }
	defer end()
	backend, frontend := pgproto3.NewBackend(client, client), pgproto3.NewFrontend(server, server)
	startup, err := backend.ReceiveStartupMessage()
	if err != nil {
		return
	}
	if _, ok := startup.(*pgproto3.StartupMessage); !ok {
		// A request to cancel is all there is.
		frontend.Send(startup)
		frontend.Flush()
		return
	}
	frontend.Send(startup)
	if frontend.Flush() != nil {
		return
	}
	var cut atomic.Bool // the next answer is kept back
	go func() {
		defer end()
		for {
			m, err := frontend.Receive()
			if err != nil || cut.Load() {
				return
			}
			if e, ok := m.(*pgproto3.ErrorResponse); ok && strings.Contains(e.Message, "refused_by_the_proxy") {
				e.Code, e.Message = "40001", "could not serialize access (made up)"
			}
			backend.Send(m)
			if backend.Flush() != nil {
				return
			}
		}
	}()
	texts := map[string]string{}
	for {
		m, err := backend.Receive()
		if err != nil {
			return
		}
		sql, counts := "", true
		switch m := m.(type) {
		case *pgproto3.Parse:
			texts[m.Name] = m.Query
			counts = false
		case *pgproto3.Bind:
			sql = texts[m.PreparedStatement]
		case *pgproto3.Query:
			sql = m.String
		default:
			counts = false
		}
		if counts {
			f := p.decide(p.count.Add(1), sql)
			if f != pass {
				p.hit.Add(1)
			}
			switch _, simple := m.(*pgproto3.Query); {
			case f == cutBefore:
				return
			case f == cutAfter:
				cut.Store(true)
			case f == fail && simple && strings.EqualFold(sql, "commit"):
				m = &pgproto3.Query{String: "ROLLBACK; " + bad}
			case f == fail && simple:
				m = &pgproto3.Query{String: bad}
			case f == fail:
				// Parsing fails, and the database ignores what follows up to Sync.
				m = &pgproto3.Parse{Query: bad}
			}
		}
		frontend.Send(m)
		if frontend.Flush() != nil {
			return
		}
	}
}
