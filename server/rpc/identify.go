package rpc

import (
	"context"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"

	"proofload/server/access"
)

// authorizationKey is the metadata key of a caller's token.
const authorizationKey = "authorization"

// callerOf gives the token of a call, nil where none is needed and none was sent.
func callerOf(ctx context.Context, gate *access.Gate) (*access.Token, error) {
	sent := metadata.ValueFromIncomingContext(ctx, authorizationKey)
	if len(sent) == 0 {
		return gate.Identify(ctx, "")
	}
	return gate.Identify(ctx, sent[0])
}

// open reports whether a method is answered without a token always: who watches
// over a server asks for its health and for nothing of what it holds.
func open(method string) bool {
	return strings.HasPrefix(method, "/"+grpc_health_v1.Health_ServiceDesc.ServiceName+"/")
}

// identify puts who calls into the context, and refuses who may not.
func identify(gate *access.Gate) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, in any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		if open(info.FullMethod) {
			return handle(ctx, in)
		}
		t, err := callerOf(ctx, gate)
		if err != nil {
			return nil, err
		}
		return handle(access.With(ctx, t), in)
	}
}

// identifyStream does the same for streams.
func identifyStream(gate *access.Gate) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		if open(info.FullMethod) {
			return handle(srv, stream)
		}
		t, err := callerOf(stream.Context(), gate)
		if err != nil {
			return err
		}
		return handle(srv, &identified{stream, access.With(stream.Context(), t)})
	}
}

// identified is a stream whose context knows the caller.
type identified struct {
	grpc.ServerStream
	ctx context.Context
}

// Context implements grpc.ServerStream.
func (s *identified) Context() context.Context { return s.ctx }
