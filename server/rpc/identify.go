package rpc

import (
	"context"
	"crypto/x509"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/pulse"
)

// authorizationKey is the metadata key of a caller's token.
const authorizationKey = "authorization"

// door says who calls, and counts it.
type door struct {
	gate    *access.Gate
	budgets *access.Budgets
	pulse   *pulse.Pulse
}

// callerOf returns the token of a call, nil where none is needed and none was sent,
// and where the call came from.
func (d door) callerOf(ctx context.Context, method string) (*access.Token, access.Origin, error) {
	if err := d.pulse.Err(); err != nil {
		return nil, access.Origin{}, err
	}
	o, err := d.origin(ctx)
	if err != nil {
		return nil, o, err
	}
	sent := ""
	if values := metadata.ValueFromIncomingContext(ctx, authorizationKey); len(values) > 0 {
		sent = values[0]
	}
	t, err := d.gate.Identify(ctx, sent, o)
	if err != nil {
		if n, ok := access.NeedsOf(method); sent == "" && ok && n.Open && d.gate.Public() {
			return nil, o, nil
		}
		return nil, o, d.budgets.Refused(err, o)
	}
	return t, o, nil
}

// origin returns where a call came from. Of one that came over HTTP that is known already,
// and the name it was sent to was looked at; of one over gRPC the name is of no account:
// no page of another site makes a browser speak gRPC.
func (d door) origin(ctx context.Context) (access.Origin, error) {
	if o, ok := access.OriginIn(ctx); ok {
		return o, nil
	}
	remote := ""
	var shown *x509.Certificate
	if p, ok := peer.FromContext(ctx); ok {
		remote = p.Addr.String()
		if info, ok := p.AuthInfo.(credentials.TLSInfo); ok {
			shown = access.Shown(&info.State)
		}
	}
	o, err := d.gate.OriginOf(remote, "localhost", func(field string) []string { return metadata.ValueFromIncomingContext(ctx, strings.ToLower(field)) })
	o.Certificate = shown
	return o, err
}

// open reports whether a method is answered without a token always: who watches
// over a server asks for its health and for nothing of what it holds.
func open(method string) bool {
	return strings.HasPrefix(method, "/"+grpc_health_v1.Health_ServiceDesc.ServiceName+"/")
}

// entered returns the context of a call with its caller, who may make it.
func (d door) entered(ctx context.Context, method string) (context.Context, error) {
	t, o, err := d.callerOf(ctx, method)
	if err != nil {
		return nil, err
	}
	ctx = access.With(access.From(ctx, o), t)
	if err := d.budgets.Spend(access.Payer(ctx), access.Request); err != nil {
		return nil, err
	}
	if !strings.HasPrefix(method, ours) {
		return ctx, nil // reflection is for everybody who may read
	}
	return access.Clear(ctx, method)
}

// ours begins the names of the methods of the contract.
var ours = "/" + string(pb.File_proofload_v1_specs_proto.Package()) + "."

// identify puts the caller into the context and refuses one who may not call.
func (d door) identify() grpc.UnaryServerInterceptor {
	return func(ctx context.Context, in any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		if open(info.FullMethod) {
			return handle(ctx, in)
		}
		ctx, err := d.entered(ctx, info.FullMethod)
		if err != nil {
			return nil, err
		}
		if n, _ := access.NeedsOf(info.FullMethod); n.Heavy {
			leave, err := d.budgets.Work(ctx)
			if err != nil {
				return nil, err
			}
			defer leave()
		}
		return handle(ctx, in)
	}
}

// identifyStream does the same for streams.
func (d door) identifyStream() grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		if open(info.FullMethod) {
			return handle(srv, stream)
		}
		ctx, err := d.entered(stream.Context(), info.FullMethod)
		if err != nil {
			return err
		}
		return handle(srv, &identified{stream, ctx})
	}
}

// identified is a stream whose context knows the caller.
type identified struct {
	grpc.ServerStream
	ctx context.Context
}

// Context implements grpc.ServerStream.
func (s *identified) Context() context.Context { return s.ctx }
