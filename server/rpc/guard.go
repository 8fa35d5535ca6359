package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"proofload/server/access"
	"proofload/server/fault"
	"proofload/server/meter"
)

// guard returns every call a deadline, turns panics and inner errors into errors
// that may be shown, and logs what failed. Calls that succeed are logged at debug
// level only: a line a read would cost more than the read.
func guard(log *slog.Logger, m *meter.Meter) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, in any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (out any, err error) {
		begin := time.Now()
		if _, ok := ctx.Deadline(); !ok {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, DefaultDeadline)
			defer cancel()
		}
		defer func() {
			rescue(ctx, log, info.FullMethod, recover(), &err)
			m.Call(info.FullMethod, status.Code(err).String(), time.Since(begin))
			report(ctx, log, info.FullMethod, begin, err)
		}()
		if out, err = handle(ctx, in); err != nil {
			return nil, shown(err)
		}
		return out, nil
	}
}

// rescue turns what a deferred recover gave, where it gave something, into an error.
func rescue(ctx context.Context, log *slog.Logger, method string, value any, err *error) {
	if value == nil {
		return
	}
	log.LogAttrs(ctx, slog.LevelError, "panic", slog.String("method", method), slog.Any("value", value), slog.String("stack", string(debug.Stack())))
	*err = fault.From(fmt.Errorf("panic: %v", value))
}

// guardStream does the same for reflection and health watching, which have no deadline.
func guardStream(log *slog.Logger, m *meter.Meter) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) (err error) {
		begin := time.Now()
		defer func() {
			rescue(stream.Context(), log, info.FullMethod, recover(), &err)
			m.Call(info.FullMethod, status.Code(err).String(), time.Since(begin))
			report(stream.Context(), log, info.FullMethod, begin, err)
		}()
		return shown(handle(srv, stream))
	}
}

// shown makes an error fit to be sent. What other services of the server answer
// in their own right (health, reflection) stays as it is.
func shown(err error) error {
	if err == nil {
		return nil
	}
	if s, ok := status.FromError(err); ok && s.Code() != codes.Unknown {
		return err
	}
	return fault.From(err)
}

func report(ctx context.Context, log *slog.Logger, method string, begin time.Time, err error) {
	level := slog.LevelDebug
	switch status.Code(err) {
	case codes.Internal, codes.DataLoss, codes.Unknown:
		level = slog.LevelError
	}
	if !log.Enabled(ctx, level) {
		return
	}
	attrs := []slog.Attr{slog.String("method", method), slog.Duration("took", time.Since(begin)), slog.String("code", status.Code(err).String()), slog.String("caller", access.Payer(ctx))}
	if id := metadata.ValueFromIncomingContext(ctx, "x-request-id"); len(id) == 1 && len(id[0]) <= 100 {
		attrs = append(attrs, slog.String("request", id[0]))
	}
	if err != nil {
		attrs = append(attrs, slog.String("error", err.Error()))
		if f := fault.From(err); f.Unwrap() != nil {
			attrs = append(attrs, slog.String("cause", f.Unwrap().Error()))
		}
	}
	log.LogAttrs(ctx, level, "rpc", attrs...)
}
