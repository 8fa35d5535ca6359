// Package rpc serves the gRPC interface.
package rpc

import (
	"crypto/tls"
	"log/slog"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	_ "google.golang.org/grpc/encoding/gzip" // answers a call that comes compressed in kind
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/catalog"
	"proofload/server/check"
	"proofload/server/desk"
	"proofload/server/feed"
	"proofload/server/job"
	"proofload/server/meter"
	"proofload/server/notary"
	"proofload/server/prints"
	"proofload/server/pulse"
	"proofload/server/spoken"
	"proofload/server/store"
)

// PositionKey is the metadata key, and the HTTP header, of the position a read answers for.
const PositionKey = "proofload-position"

// EpochKey is the metadata key, and the header, of the store's epoch, in answers where
// it is not the first. A caller that sends it is refused where it is another.
const EpochKey = "proofload-epoch"

// Deps is what the services are made of.
type Deps struct {
	// Epoch is that of the store.
	Epoch   store.Epoch
	Catalog *catalog.Catalog
	// Check judges documents, Rules is the catalogue of what it judges by, in order
	// of name. They are injected, so that the rules here are the rules the editor ran.
	Check check.Func
	Rules []check.Rule
	// Desk leads corrections, Reads notes who read what under a token.
	Desk  *desk.Desk
	Reads *desk.Reads
	// Feed hands the log to watchers.
	Feed *feed.Feed
	// Gate says who calls, Keys keeps the tokens it knows them by.
	Gate *access.Gate
	Keys *access.Keys
	// Pulse says whether the store answers; nil for a store that is taken for well.
	Pulse *pulse.Pulse
	// Meter counts calls; nil for none.
	Meter *meter.Meter
	// Budgets count what callers do; nil for no limits.
	Budgets *access.Budgets
	// Notary signs checkpoints, Prints knows the codes of printed sheets.
	Notary *notary.Notary
	Prints *prints.Prints
	// Jobs keeps open jobs.
	Jobs *job.Jobs
	// Spoken checks and keeps narrations.
	Spoken *spoken.Spoken
	// MaxAge is how long a connection lives, 0 for half an hour; with it ends every
	// watch, and its caller comes back with a token that is good.
	MaxAge time.Duration
	// TLS, where not nil, encrypts the connections.
	TLS *tls.Config
	Log *slog.Logger
}

// Server is the gRPC server with its services.
type Server struct {
	*grpc.Server
	Specs       *Specs
	Checks      *Checks
	Corrections *Corrections
	Access      *Access
	Ledger      *Ledger
	History     *History
	Jobs        *Jobs
	Narrations  *Narrations

	health *health.Server
	// healthOf are the services whose health is told, "" for the whole server.
	healthOf []string
}

// The limits of a connection and of a message. The library's own defaults are
// open: unlimited streams, unlimited replies, 16 MiB of headers, two minutes to
// shake hands, no end to an idle connection.
const (
	MaxReceive       = 1 << 20
	MaxSend          = 8 << 20
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
		grpc.MaxSendMsgSize(MaxSend),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.MaxHeaderListSize(maxHeaders),
		grpc.ConnectionTimeout(handshakeTimeout),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: maxIdle, MaxConnectionAge: maxAge, MaxConnectionAgeGrace: ageGrace}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: minPing}),
	}
}

// NewServer makes a server that serves nothing yet; call Serve with a listener.
func NewServer(d Deps) *Server {
	options := append(Limits(), grpc.ChainUnaryInterceptor(guard(d.Log, d.Meter)), grpc.ChainStreamInterceptor(guardStream(d.Log, d.Meter)))
	options = append(options, ofEpoch(d.Epoch)...)
	if d.MaxAge > 0 {
		options = append(options, grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: maxIdle, MaxConnectionAge: d.MaxAge, MaxConnectionAgeGrace: d.MaxAge}))
	}
	if d.TLS != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(d.TLS)))
	}
	entrance := door{d.Gate, d.Budgets, d.Pulse}
	s := &Server{
		Specs:       &Specs{epoch: d.Epoch, catalog: d.Catalog, door: entrance, reads: d.Reads, meter: d.Meter, log: d.Log},
		Checks:      newChecks(d),
		Corrections: &Corrections{desk: d.Desk, notary: d.Notary},
		Access:      &Access{keys: d.Keys, pages: d.Catalog.Pages},
		Ledger:      &Ledger{catalog: d.Catalog, notary: d.Notary, prints: d.Prints, desk: d.Desk},
		History:     &History{catalog: d.Catalog, feed: d.Feed, budgets: d.Budgets, events: newEvents(), slowAfter: SlowAfter},
		Jobs:        &Jobs{jobs: d.Jobs, catalog: d.Catalog, notary: d.Notary},
		Narrations:  &Narrations{spoken: d.Spoken, desk: d.Desk, catalog: d.Catalog},
		health:      health.NewServer(),
		Server: grpc.NewServer(append(options,
			grpc.ForceServerCodecV2(codec{}),
			// Workers keep the stacks that calls have grown; calls beyond them get a
			// goroutine as usual. Measured worth a few hundredths of a hot read.
			grpc.NumStreamWorkers(16),
			grpc.ChainUnaryInterceptor(entrance.identify()),
			grpc.ChainStreamInterceptor(entrance.identifyStream()),
		)...),
	}
	for _, service := range []struct {
		desc grpc.ServiceDesc
		impl any
	}{
		{hotSpecs(), s.Specs}, {strict(pb.Checks_ServiceDesc), s.Checks}, {strict(pb.Corrections_ServiceDesc), s.Corrections},
		{strict(pb.Access_ServiceDesc), s.Access}, {strict(pb.History_ServiceDesc), s.History}, {strict(pb.Ledger_ServiceDesc), s.Ledger},
		{strict(pb.Jobs_ServiceDesc), s.Jobs}, {strict(pb.Narrations_ServiceDesc), s.Narrations},
	} {
		s.RegisterService(&service.desc, service.impl)
	}
	grpc_health_v1.RegisterHealthServer(s.Server, s.health)
	s.healthOf = []string{""}
	for name := range s.GetServiceInfo() {
		s.healthOf = append(s.healthOf, name)
	}
	s.serving(true)
	reflection.Register(s.Server)
	if d.Pulse != nil {
		d.Pulse.Watch(s.serving)
	}
	return s
}

// serving tells those who watch over the server whether it can answer.
func (s *Server) serving(ready bool) {
	status := grpc_health_v1.HealthCheckResponse_NOT_SERVING
	if ready {
		status = grpc_health_v1.HealthCheckResponse_SERVING
	}
	for _, name := range s.healthOf {
		s.health.SetServingStatus(name, status)
	}
}

// Drain tells health watchers that the server stops, so that callers go elsewhere
// before it does.
func (s *Server) Drain() { s.health.Shutdown() }
