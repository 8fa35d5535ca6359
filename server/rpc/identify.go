package rpc

import (
	"context"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"

	pb "proofload/api/proofload/v1"
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

// entered returns the context of a call with its caller, who may make it.
func entered(ctx context.Context, gate *access.Gate, method string) (context.Context, error) {
	t, err := callerOf(ctx, gate)
	if err != nil {
		return nil, err
	}
	ctx = access.With(ctx, t)
	if !strings.HasPrefix(method, ours) {
		return ctx, nil // reflection is for everybody who may read
	}
	return access.Clear(ctx, method)
}

// ours begins the names of the methods of the contract.
var ours = "/" + string(pb.File_proofload_v1_specs_proto.Package()) + "."

// identify puts the caller into the context and refuses one who may not call.
func identify(gate *access.Gate) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, in any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		if open(info.FullMethod) {
			return handle(ctx, in)
		}
		ctx, err := entered(ctx, gate, info.FullMethod)
		if err != nil {
			return nil, err
		}
		return handle(ctx, in)
	}
}

// identifyStream does the same for streams.
func identifyStream(gate *access.Gate) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		if open(info.FullMethod) {
			return handle(srv, stream)
		}
		ctx, err := entered(stream.Context(), gate, info.FullMethod)
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
