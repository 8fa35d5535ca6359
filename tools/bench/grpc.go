package main

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"

	pb "proofload/api/proofload/v1"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
)

const (
	grpcCallers = 64
	echoMethod  = "/bench.Echo/Get"
)

// rawCodec passes bytes as they are, so that callers and ceiling cost as little as
// they can: a caller reads no answer, the ceiling writes none.
type rawCodec struct{}

// Name implements encoding.CodecV2.
func (rawCodec) Name() string { return proto.Name }

// Marshal implements encoding.CodecV2.
func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}

// Unmarshal implements encoding.CodecV2. Into an int it returns the length alone.
func (rawCodec) Unmarshal(data mem.BufferSlice, v any) error {
	switch v := v.(type) {
	case *int:
		*v = data.Len()
	case *[]byte:
		*v = data.Materialize()
	default:
		return fmt.Errorf("raw codec cannot give a %T", v)
	}
	return nil
}

// request is the message that asks for a record: its name is field 1 of all of them.
func request(name specdata.Name) []byte {
	b := binary.AppendUvarint([]byte{1<<3 | 2}, uint64(len(name)))
	return append(b, name...)
}

// nameOf is the reverse.
func nameOf(request []byte) []byte {
	n, size := binary.Uvarint(request[1:])
	return request[1+size:][:n]
}

func dial(address string) (*grpc.ClientConn, error) {
	return grpc.NewClient("passthrough:///"+address, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithDefaultCallOptions(grpc.ForceCodecV2(rawCodec{})))
}

// newEcho serves answers that cost nothing to make, with the limits of the product.
func newEcho(answer func(request []byte) ([]byte, error)) (address string, stop func(), err error) {
	s := grpc.NewServer(append(rpc.Limits(), grpc.ForceServerCodecV2(rawCodec{}))...)
	s.RegisterService(&grpc.ServiceDesc{ServiceName: "bench.Echo", HandlerType: (*any)(nil), Methods: []grpc.MethodDesc{{
		MethodName: "Get",
		Handler: func(_ any, _ context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
			var in []byte
			if err := decode(&in); err != nil {
				return nil, err
			}
			return answer(in)
		},
	}}}, nil)
	address, err = serveOn(s.Serve)
	return address, s.Stop, err
}

// ask returns the answers of the service for fasteners, by request.
func ask(ctx context.Context, c *grpc.ClientConn, names []specdata.Name) (requests [][]byte, answers map[string][]byte, err error) {
	answers = map[string][]byte{}
	for _, name := range names {
		var answer []byte
		in := request(name)
		if err := c.Invoke(ctx, pb.Specs_GetFastener_FullMethodName, in, &answer); err != nil {
			return nil, nil, err
		}
		requests = append(requests, in)
		answers[string(in)] = answer
	}
	return requests, answers, nil
}

func grpcHot(ctx context.Context, w *world) (m measured, err error) {
	err = w.withService(ctx, func(s *service) error {
		conn, err := dial(s.grpcAddress)
		if err != nil {
			return err
		}
		defer conn.Close()
		requests, answers, err := ask(ctx, conn, w.fasteners()[:grpcCallers])
		if err != nil {
			return err
		}
		address, stop, err := newEcho(func(in []byte) ([]byte, error) { return answers[string(in)], nil })
		if err != nil {
			return err
		}
		defer stop()
		echo, err := dial(address)
		if err != nil {
			return err
		}
		defer echo.Close()
		m, err = w.duel(ctx,
			w.callers(grpcCallers, func(ctx context.Context, i int) error {
				return invoke(ctx, conn, pb.Specs_GetFastener_FullMethodName, requests[i], len(answers[string(requests[i])]))
			}),
			w.callers(grpcCallers, func(ctx context.Context, i int) error {
				return invoke(ctx, echo, echoMethod, requests[i], len(answers[string(requests[i])]))
			}))
		m.note = fmt.Sprintf("%d bytes", len(answers[string(requests[0])]))
		return err
	})
	return m, err
}

// invoke calls and holds the answer to its length, where that is known.
func invoke(ctx context.Context, c *grpc.ClientConn, method string, request []byte, want int) error {
	var size int
	if err := c.Invoke(ctx, method, request, &size); err != nil {
		return err
	}
	if size == 0 || want > 0 && size != want {
		return fmt.Errorf("%s answered with %d bytes, want %d", method, size, want)
	}
	return nil
}

// cold reads every fastener at most once a round, by a service whose caches are empty
// when the round begins.
func cold(ctx context.Context, w *world) (m measured, err error) {
	file, err := w.library(ctx)
	if err != nil {
		return m, err
	}
	s, err := sqlite.Open(ctx, file, sqlite.Options{})
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	rawFile, err := w.newFile()
	if err != nil {
		return m, err
	}
	if err := w.fillRaw(ctx, s, rawFile); err != nil {
		return m, err
	}
	pool, err := openRawPool(rawFile)
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, pool.close(), removeStore(rawFile)) }()
	address, stop, err := newEcho(func(in []byte) ([]byte, error) { return pool.document(nameOf(in)) })
	if err != nil {
		return m, err
	}
	defer stop()
	names := w.fasteners()
	once := func(address, method string) side {
		return func(ctx context.Context) (int, time.Duration, error) {
			conn, err := dial(address)
			if err != nil {
				return 0, 0, err
			}
			defer conn.Close()
			w.random.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
			var next atomic.Int64
			return w.callers(grpcCallers, func(ctx context.Context, _ int) error {
				return invoke(ctx, conn, method, request(names[int(next.Add(1))%len(names)]), 0)
			})(ctx)
		}
	}
	return w.duel(ctx, func(ctx context.Context) (int, time.Duration, error) {
		served, err := newService(ctx, s)
		if err != nil {
			return 0, 0, err
		}
		defer served.stop()
		return once(served.grpcAddress, pb.Specs_GetFastener_FullMethodName)(ctx)
	}, once(address, echoMethod))
}

// fillRaw makes the ceiling's file: for each fastener as many bytes as the service
// answers with. They are those of the first copy in every copy, for making all views
// would take longer than measuring.
func (w *world) fillRaw(ctx context.Context, s store.Store, file string) (err error) {
	served, err := newService(ctx, s)
	if err != nil {
		return err
	}
	defer served.stop()
	conn, err := dial(served.grpcAddress)
	if err != nil {
		return err
	}
	defer conn.Close()
	answers := make([][]byte, w.corpus.Size())
	for i, name := range w.corpus.Names(1) {
		if name.Kind() != specdata.KindFastener {
			continue
		}
		if err := conn.Invoke(ctx, pb.Specs_GetFastener_FullMethodName, request(name), &answers[i]); err != nil {
			return err
		}
	}
	raw, err := openRaw(file, sqlite.MaxCache/2)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, raw.close()) }()
	i := 0
	for part := range w.changes(w.size(usualStored)) {
		for j := range part {
			if answer := answers[i%len(answers)]; answer != nil {
				part[j].Document = answer
			}
			i++
		}
		if err := raw.put(part); err != nil {
			return err
		}
	}
	return nil
}
