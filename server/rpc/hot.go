package rpc

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/specdata"
)

// hotSpecs is the generated description of the service with the handlers of the
// record reads replaced by ones that answer with stored bytes.
func hotSpecs() grpc.ServiceDesc {
	desc := strict(pb.Specs_ServiceDesc)
	for i := range desc.Methods {
		m := &desc.Methods[i]
		full := "/" + desc.ServiceName + "/" + m.MethodName
		switch m.MethodName {
		case "GetVehicle":
			m.Handler = hot[pb.GetVehicleRequest](full, specdata.KindVehicle)
		case "GetFastener":
			m.Handler = hot[pb.GetFastenerRequest](full, specdata.KindFastener)
		case "GetAssembly":
			m.Handler = hot[pb.GetAssemblyRequest](full, specdata.KindAssembly)
		case "GetProcedure":
			m.Handler = hot[pb.GetProcedureRequest](full, specdata.KindProcedure)
		case "GetSource":
			m.Handler = hot[pb.GetSourceRequest](full, specdata.KindSource)
		}
	}
	return desc
}

// strict copies a service with handlers that receive as receive does.
func strict(desc grpc.ServiceDesc) grpc.ServiceDesc {
	desc.Methods = slices.Clone(desc.Methods)
	for i := range desc.Methods {
		handler := desc.Methods[i].Handler
		desc.Methods[i].Handler = func(srv any, ctx context.Context, decode func(any) error, interceptor grpc.UnaryServerInterceptor) (any, error) {
			return handler(srv, ctx, func(v any) error { return receive(decode, v) }, interceptor)
		}
	}
	desc.Streams = slices.Clone(desc.Streams)
	for i := range desc.Streams {
		handler := desc.Streams[i].Handler
		desc.Streams[i].Handler = func(srv any, stream grpc.ServerStream) error { return handler(srv, strictStream{stream}) }
	}
	return desc
}

// strictStream receives as receive does.
type strictStream struct{ grpc.ServerStream }

// RecvMsg implements grpc.ServerStream.
func (s strictStream) RecvMsg(m any) error { return receive(s.ServerStream.RecvMsg, m) }

// readRequest is what the requests of record reads have in common.
type readRequest[T any] interface {
	*T
	proto.Message
	GetName() string
	GetAt() string
	GetMinPosition() int64
}

func hot[T any, R readRequest[T]](method string, kind specdata.Kind) grpc.MethodHandler {
	prefix := kind.Collection() + "/"
	return func(srv any, ctx context.Context, decode func(any) error, interceptor grpc.UnaryServerInterceptor) (out any, err error) {
		specs, begin := srv.(*Specs), time.Now()
		var name incomingName
		if err := decode(&name); err != nil {
			return nil, err
		}
		if strings.HasPrefix(name.name, prefix) {
			// This read is not worth an interceptor, but a panic must not end the server.
			defer func() { rescue(ctx, specs.log, method, recover(), &err) }()
			caller, origin, err := specs.door.callerOf(ctx, method)
			if err != nil {
				return nil, shown(err)
			}
			if !origin.Local {
				if err := specs.door.budgets.Spend(access.Payer(access.With(access.From(ctx, origin), caller)), access.Request); err != nil {
					return nil, shown(err)
				}
			}
			if v, position, ok := specs.Ready(ctx, caller, name.name); ok {
				if err := inEpoch(ctx, specs.epoch); err != nil {
					return nil, shown(err)
				}
				specs.meter.Call(method, codes.OK.String(), time.Since(begin))
				return encoded(v.Proto), tell(ctx, position)
			}
		}
		in := R(new(T))
		if err := name.into(in); err != nil {
			return nil, err
		}
		handle := func(ctx context.Context, in any) (any, error) {
			r := in.(R)
			name, err := ask.Name("name", r.GetName(), kind)
			if err != nil {
				return nil, err
			}
			m, err := moment(r)
			if err != nil {
				return nil, err
			}
			v, position, err := specs.Read(ctx, name, m)
			if err != nil {
				return nil, err
			}
			return encoded(v.Proto), tell(ctx, position)
		}
		if interceptor == nil {
			return handle(ctx, in)
		}
		return interceptor(ctx, in, &grpc.UnaryServerInfo{Server: srv, FullMethod: method}, handle)
	}
}

// tell sets the response header that says which position a read answers for.
func tell(ctx context.Context, position int64) error {
	return grpc.SetHeader(ctx, metadata.MD{PositionKey: {itoa(position)}})
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

func moment(r interface {
	GetAt() string
	GetMinPosition() int64
}) (ask.Moment, error) {
	return ask.When("at", r.GetAt(), r.GetMinPosition())
}
