package rest

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"connectrpc.com/connect"
	"connectrpc.com/vanguard"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"proofload/server/access"
	"proofload/server/fault"
	"proofload/server/rpc"
)

// callPrefix begins the addresses of calls: /proofload.v1.Specs/GetFastener.
const callPrefix = "/proofload.v1."

// newCalls returns a handler that takes the calls of browsers and of those who cannot
// speak gRPC, as Connect and gRPC-Web, and hands them to the gRPC server: its
// interceptors ask for tokens, count and judge them as all others.
func newCalls(s *grpc.Server) (http.Handler, error) {
	var services []*vanguard.Service
	for _, d := range access.Services() {
		services = append(services, vanguard.NewServiceWithSchema(d, s, vanguard.WithTargetProtocols(vanguard.ProtocolGRPC), vanguard.WithTargetCodecs(vanguard.CodecProto),
			vanguard.WithMaxMessageBufferBytes(rpc.MaxSend)))
	}
	// A REST address is served by the gateway and nowhere else.
	calls, err := vanguard.NewTranscoder(services, vanguard.WithCodec(func(r vanguard.TypeResolver) vanguard.Codec {
		return callJSON{vanguard.JSONCodec{MarshalOptions: protojson.MarshalOptions{Resolver: r, EmitUnpopulated: true}}}
	}), vanguard.WithUnknownHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fail(w, r, notFound(r))
	})))
	if err != nil {
		return nil, err
	}
	streams := map[string]bool{}
	for _, d := range access.Services() {
		for i := range d.Methods().Len() {
			if m := d.Methods().Get(i); m.IsStreamingServer() {
				streams["/"+string(d.FullName())+"/"+string(m.Name())] = true
			}
		}
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if streams[r.URL.Path] {
			// The connection's limits are for requests; they would end a watch. The budget
			// of watches and the watcher's own patience bound it.
			control := http.NewResponseController(w)
			_ = control.SetReadDeadline(time.Time{})
			_ = control.SetWriteDeadline(time.Time{})
		}
		calls.ServeHTTP(w, r)
	}), nil
}

// callJSON reads the JSON of a call as strictly as that of an address, and says what is
// wrong with it in the same words.
type callJSON struct{ vanguard.JSONCodec }

// Unmarshal implements vanguard.Codec.
func (c callJSON) Unmarshal(body []byte, m proto.Message) error {
	err := readJSON(body, m)
	if err == nil {
		return nil
	}
	f := fault.From(err)
	out := connect.NewError(connect.CodeInvalidArgument, errors.New(f.Message))
	for _, d := range f.GRPCStatus().Proto().Details {
		if detail, err := connect.NewErrorDetail(d); err == nil {
			out.AddDetail(detail)
		}
	}
	return out
}

// isCall reports whether a request is a call rather than a read of an address.
func isCall(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, callPrefix) }
