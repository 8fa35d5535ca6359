// Package client is a small Go client: it dials, tries again what may be tried
// again, turns errors into values with a reason, and never reads backwards in time.
package client

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"strconv"
	"sync/atomic"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "proofload/api/proofload/v1"
)

// Client talks to one server, or to several nodes of one library behind one address.
//
// Reads are monotonic: once an answer was of a position, no later answer is of an
// earlier one, whichever node gives it; a write counts as seen, so anyone who writes
// reads what was written. Requests for a named moment are left as they are.
type Client struct {
	Specs  pb.SpecsClient
	Checks pb.ChecksClient
	// History reads the log and its releases; Watch follows the log.
	History pb.HistoryClient
	// Corrections changes the library, Access manages tokens; both take WithToken.
	Corrections pb.CorrectionsClient
	Access      pb.AccessClient
	// Ledger proves what the library says; Follow and Prove check it.
	Ledger pb.LedgerClient

	conn *grpc.ClientConn
	seen atomic.Int64
	// epoch is that of the last answer, 0 before the first.
	epoch atomic.Int64
}

// positionKey is the response metadata that says which position an answer is of.
const positionKey = "proofload-position"

// epochKey is the metadata that says of which epoch an answer is, and which one a
// caller knows; there is none in the first.
const epochKey = "proofload-epoch"

// retries makes UNAVAILABLE, which a stopping or lagging node answers, be tried
// again; corrections carry a request id, so that what was done is not done twice.
// Nothing else is safe to repeat without knowing what it was.
const retries = `{"methodConfig": [{
	"name": [{"service": "proofload.v1.Specs"}, {"service": "proofload.v1.Checks"}, {"service": "proofload.v1.History"}, {"service": "proofload.v1.Ledger"}, {"service": "proofload.v1.Corrections"}],
	"retryPolicy": {"maxAttempts": 4, "initialBackoff": "0.1s", "maxBackoff": "1s", "backoffMultiplier": 2, "retryableStatusCodes": ["UNAVAILABLE"]}
}]}`

// Dial prepares a connection to host:port; it is made when it is first needed.
// Without options the connection is not encrypted, which is allowed to this
// machine only: give grpc.WithTransportCredentials for any other, and WithToken
// where the server asks for a token.
func Dial(address string, options ...grpc.DialOption) (*Client, error) {
	c := &Client{}
	here := loopback(address)
	if here != nil && len(options) == 0 {
		return nil, here
	}
	if here == nil {
		options = append([]grpc.DialOption{grpc.WithTransportCredentials(insecure.NewCredentials())}, options...)
	}
	options = append([]grpc.DialOption{grpc.WithDefaultServiceConfig(retries), grpc.WithChainUnaryInterceptor(c.call), grpc.WithChainStreamInterceptor(c.stream)}, options...)
	conn, err := grpc.NewClient(address, options...)
	if err != nil {
		return nil, fmt.Errorf("server %s cannot be dialled: %w", address, err)
	}
	c.conn, c.Specs, c.Checks = conn, pb.NewSpecsClient(conn), pb.NewChecksClient(conn)
	c.History, c.Ledger = pb.NewHistoryClient(conn), pb.NewLedgerClient(conn)
	c.Corrections, c.Access = pb.NewCorrectionsClient(conn), pb.NewAccessClient(conn)
	return c, nil
}

func loopback(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("server %q is not host:port; write it like 127.0.0.1:7451", address)
	}
	if ip, err := netip.ParseAddr(host); host == "localhost" || err == nil && ip.Unmap().IsLoopback() {
		return nil
	}
	return fmt.Errorf("server %s is not on this machine; give transport credentials, so that nobody on the way changes a value", address)
}

// Close ends the connection.
func (c *Client) Close() error { return c.conn.Close() }

// Position is the newest position an answer was of, 0 before the first.
func (c *Client) Position() int64 { return c.seen.Load() }

// Require makes every later read include a position that was learned elsewhere.
func (c *Client) Require(position int64) {
	for {
		seen := c.seen.Load()
		if seen >= position || c.seen.CompareAndSwap(seen, position) {
			return
		}
	}
}

// call asks for at least what was seen, notes what the answer is of, and types the error.
func (c *Client) call(ctx context.Context, method string, in, out any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
	var header metadata.MD
	err := invoke(c.saying(ctx), method, repeatable(c.atLeast(in)), out, conn, append(options, grpc.Header(&header))...)
	if err == nil {
		if err := c.inEpoch(header); err != nil {
			return err
		}
	}
	for _, v := range header.Get(positionKey) {
		if position, err := strconv.ParseInt(v, 10, 64); err == nil {
			c.Require(position)
		}
	}
	return typed(err)
}

// saying returns a context that tells the server which epoch the caller knows, so that
// it refuses to answer from another.
func (c *Client) saying(ctx context.Context) context.Context {
	if known := c.epoch.Load(); known > 0 {
		return metadata.AppendToOutgoingContext(ctx, epochKey, strconv.FormatInt(known, 10))
	}
	return ctx
}

// stream says the epoch where a stream begins.
func (c *Client) stream(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, method string, begin grpc.Streamer, options ...grpc.CallOption) (grpc.ClientStream, error) {
	return begin(c.saying(ctx), desc, conn, method, options...)
}

// Restored is the reason of the error that a client returns once the library was restored
// from a backup: positions that were read before may be others now. Forget lets it go on.
const Restored = "STORE_RESTORED"

// Epoch returns how often the library's history began again, counted from 1, and 0 before
// the first answer. It changes after Forget only.
func (c *Client) Epoch() int64 { return c.epoch.Load() }

// Forget drops what was seen of the epoch before, after the caller dropped what it kept:
// the next answer is of whichever epoch the library is in.
func (c *Client) Forget() {
	c.epoch.Store(0)
	c.seen.Store(0)
}

// inEpoch notes the epoch of a first answer, and refuses an answer of another later: a node
// that was not restored with the others.
func (c *Client) inEpoch(header metadata.MD) error {
	epoch := int64(1)
	for _, v := range header.Get(epochKey) {
		if n, err := strconv.ParseInt(v, 10, 64); err == nil {
			epoch = n
		}
	}
	if known := c.epoch.Load(); known == epoch || known == 0 && c.epoch.CompareAndSwap(0, epoch) {
		return nil
	}
	return restored(c.epoch.Load(), epoch)
}

// atLeast fills in min_position where a request has it and the caller left it out.
// The caller's message is not changed.
func (c *Client) atLeast(in any) any {
	seen := c.seen.Load()
	m, ok := in.(proto.Message)
	if !ok || seen == 0 {
		return in
	}
	r := m.ProtoReflect()
	fields := r.Descriptor().Fields()
	least := fields.ByName("min_position")
	if least == nil || r.Has(least) {
		return in
	}
	for _, name := range []protoreflect.Name{"at", "page_token"} { // both fix the moment
		if f := fields.ByName(name); f != nil && r.Has(f) {
			return in
		}
	}
	r = proto.Clone(m).ProtoReflect()
	r.Set(least, protoreflect.ValueOfInt64(seen))
	return r.Interface()
}
