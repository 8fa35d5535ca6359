// Package rpc serves the gRPC interface.
package rpc

import (
	"log/slog"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	pb "proofload/api/proofload/v1"
	"proofload/server/catalog"
	"proofload/server/check"
)

// PositionKey is the metadata key, and the HTTP header, of the position a read answers for.
const PositionKey = "proofload-position"

// Deps is what the services are made of.
type Deps struct {
	Catalog *catalog.Catalog
	// Check judges documents, Rules is the catalogue of what it judges by, in order
	// of name. They are injected, so that the rules here are the rules the editor ran.
	Check check.Func
	Rules []check.Rule
	Log   *slog.Logger
}

// Server is the gRPC server with its services.
type Server struct {
	*grpc.Server
	Specs  *Specs
	Checks *Checks

	health *health.Server
}

// The limits of a connection and of a message. The library's own defaults are
// open: unlimited streams, unlimited replies, 16 MiB of headers, two minutes to
// shake hands, no end to an idle connection.
const (
	MaxReceive       = 1 << 20
	maxSend          = 8 << 20
	maxStreams       = 128
	maxHeaders       = 16 << 10
	handshakeTimeout = 5 * time.Second
	maxIdle          = 15 * time.Minute
	maxAge           = 30 * time.Minute
	ageGrace         = 30 * time.Second
	minPing          = 30 * time.Second
	// DefaultDeadline is for callers that give none.
	DefaultDeadline = 10 * time.Second
)

// Limits are the options of the server that bound connections and messages.
func Limits() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.MaxRecvMsgSize(MaxReceive),
		grpc.MaxSendMsgSize(maxSend),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.MaxHeaderListSize(maxHeaders),
		grpc.ConnectionTimeout(handshakeTimeout),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: maxIdle, MaxConnectionAge: maxAge, MaxConnectionAgeGrace: ageGrace}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: minPing}),
	}
}

// NewServer makes a server that serves nothing yet; call Serve with a listener.
func NewServer(d Deps) *Server {
	s := &Server{
		Specs:  &Specs{catalog: d.Catalog, log: d.Log},
		Checks: newChecks(d),
		health: health.NewServer(),
		Server: grpc.NewServer(append(Limits(),
			grpc.ForceServerCodecV2(codec{}),
			// Workers keep the stacks that calls have grown; calls beyond them get a
			// goroutine as usual. Measured worth a few hundredths of a hot read.
			grpc.NumStreamWorkers(16),
			grpc.UnaryInterceptor(guard(d.Log)),
			grpc.StreamInterceptor(guardStream(d.Log)),
		)...),
	}
	specs, checks := hotSpecs(), strict(pb.Checks_ServiceDesc)
	s.RegisterService(&specs, s.Specs)
	s.RegisterService(&checks, s.Checks)
	grpc_health_v1.RegisterHealthServer(s.Server, s.health)
	for _, name := range []string{"", pb.Specs_ServiceDesc.ServiceName, pb.Checks_ServiceDesc.ServiceName} {
		s.health.SetServingStatus(name, grpc_health_v1.HealthCheckResponse_SERVING)
	}
	reflection.Register(s.Server)
	return s
}

// Drain tells health watchers that the server stops, so that callers go elsewhere
// before it does.
func (s *Server) Drain() { s.health.Shutdown() }
