package rpc

import (
	"context"
	"strconv"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"proofload/server/fault"
	"proofload/server/store"
)

// ofEpoch are the interceptors of a store that was restored: answers carry its epoch,
// and a caller that says another is refused. There are none in the first epoch, in
// which no caller has another to say.
func ofEpoch(e store.Epoch) []grpc.ServerOption {
	if e.Number < 2 {
		return nil
	}
	return []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(func(ctx context.Context, in any, _ *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
			if err := inEpoch(ctx, e); err != nil {
				return nil, err
			}
			return handle(ctx, in)
		}),
		grpc.ChainStreamInterceptor(func(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
			if err := inEpoch(stream.Context(), e); err != nil {
				return err
			}
			return handle(srv, stream)
		}),
	}
}

// inEpoch sets the header of a store that was restored, and refuses a caller that says
// another epoch.
func inEpoch(ctx context.Context, e store.Epoch) error {
	if e.Number < 2 {
		return nil
	}
	number := strconv.FormatInt(e.Number, 10)
	if err := grpc.SetHeader(ctx, metadata.MD{EpochKey: {number}}); err != nil {
		return err
	}
	if said := metadata.ValueFromIncomingContext(ctx, EpochKey); len(said) > 0 && said[0] != number {
		return fault.Restored(e)
	}
	return nil
}
