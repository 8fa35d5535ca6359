package client

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "proofload/api/proofload/v1"
)

// node is a server that lags: it is unavailable for a while and then answers at
// a position.
type node struct {
	pb.UnimplementedSpecsServer
	unavailable int
	position    string
	least       []int64
}

func (n *node) GetFastener(ctx context.Context, r *pb.GetFastenerRequest) (*pb.Fastener, error) {
	n.least = append(n.least, r.MinPosition)
	if n.unavailable > 0 {
		n.unavailable--
		return nil, status.Error(codes.Unavailable, "stopping")
	}
	return &pb.Fastener{Name: r.Name}, grpc.SetHeader(ctx, metadata.Pairs(positionKey, n.position))
}

func dial(t *testing.T, n *node) *Client {
	t.Helper()
	return dialTo(t, func(s registrar) { pb.RegisterSpecsServer(s, n) })
}

type registrar = grpc.ServiceRegistrar

var unavailable = status.Error(codes.Unavailable, "stopping")

// dialTo serves what is registered and dials it.
func dialTo(t *testing.T, register func(registrar), options ...grpc.DialOption) *Client {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := grpc.NewServer()
	register(s)
	go s.Serve(l)
	t.Cleanup(s.Stop)
	c, err := Dial(l.Addr().String(), options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func TestReadsNeverGoBack(t *testing.T) {
	n := &node{position: "7"}
	c := dial(t, n)
	in := &pb.GetFastenerRequest{Name: "fasteners/a"}
	for range 2 {
		if _, err := c.Specs.GetFastener(t.Context(), in); err != nil {
			t.Fatal(err)
		}
	}
	c.Require(12)
	c.Require(3)
	if _, err := c.Specs.GetFastener(t.Context(), in); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: "fasteners/a", At: "position:2"}); err != nil {
		t.Fatal(err)
	}
	want := []int64{0, 7, 12, 0}
	for i := range want {
		if n.least[i] != want[i] {
			t.Errorf("request %d asked for position %d at least, want %d", i, n.least[i], want[i])
		}
	}
	if in.MinPosition != 0 {
		t.Error("the caller's request was changed")
	}
	if got := c.Position(); got != 12 {
		t.Errorf("position is %d, want 12", got)
	}
}

func TestUnavailableIsTriedAgain(t *testing.T) {
	n := &node{unavailable: 2, position: "1"}
	c := dial(t, n)
	if _, err := c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: "fasteners/a"}); err != nil {
		t.Fatal(err)
	}
	if len(n.least) != 3 {
		t.Errorf("server was asked %d times, want 3", len(n.least))
	}
	n.unavailable = 100
	_, err := c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: "fasteners/a"})
	var e *Error
	if !errors.As(err, &e) || e.Code != codes.Unavailable || status.Code(err) != codes.Unavailable {
		t.Errorf("got %v, want the server's UNAVAILABLE after four attempts", err)
	}
	if len(n.least) != 7 {
		t.Errorf("server was asked %d times in all, want 7", len(n.least))
	}
}

func TestDialWithoutEncryptionStaysOnThisMachine(t *testing.T) {
	for address, want := range map[string]string{
		"127.0.0.1:7451": "", "localhost:7451": "", "[::1]:7451": "",
		"192.0.2.1:7451": "credentials", "workshop.example:7451": "credentials", "nonsense": "host:port",
	} {
		c, err := Dial(address)
		if c != nil {
			c.Close()
		}
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %q", address, err, want)
		}
	}
}
