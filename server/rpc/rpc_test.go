package rpc

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/catalog"
)

// Stored bytes reach the connection as they are: the same memory, not a copy.
func TestEncodedAnswersAreNotCopied(t *testing.T) {
	b := []byte("stored")
	out, err := codec{}.Marshal(encoded(b))
	if err != nil || len(out) != 1 || &out[0].ReadOnlyData()[0] != &b[0] {
		t.Errorf("marshalled into %v, %v", out, err)
	}
}

func TestOtherAnswersAreMarshalled(t *testing.T) {
	in := &pb.SearchResult{Name: "fasteners/a", Title: "Nut"}
	b, err := codec{}.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	var out pb.SearchResult
	if err := (codec{}).Unmarshal(b, &out); err != nil || out.Title != "Nut" {
		t.Errorf("got %v, %v", &out, err)
	}
	if err := receive(func(v any) error { return codec{}.Unmarshal(mem.BufferSlice{mem.SliceBuffer{0xff}}, v) }, &out); status.Code(err) != codes.InvalidArgument {
		t.Errorf("bytes that are no message give %v", err)
	}
}

// A call gets a deadline, a panic becomes an error, and neither says anything of
// the inside.
func TestGuard(t *testing.T) {
	var logged strings.Builder
	g := guard(slog.New(slog.NewTextHandler(&logged, nil)), nil)
	info := &grpc.UnaryServerInfo{FullMethod: "/proofload.v1.Specs/GetFastener"}
	_, err := g(t.Context(), nil, info, func(ctx context.Context, _ any) (any, error) {
		if end, ok := ctx.Deadline(); !ok || time.Until(end) > DefaultDeadline {
			t.Errorf("deadline is %v, %t", end, ok)
		}
		var none map[string]int
		//lint:ignore SA5000 the panic is what is tested
		none["secret"] = 1
		return nil, nil
	})
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "nil map") {
		t.Errorf("a panic gives %v", err)
	}
	if !strings.Contains(logged.String(), "nil map") || !strings.Contains(logged.String(), "GetFastener") {
		t.Errorf("a panic logs %q", logged.String())
	}
	_, err = g(t.Context(), nil, info, func(context.Context, any) (any, error) { return nil, errors.New("disk at /secret failed") })
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "secret") || !strings.Contains(logged.String(), "/secret") {
		t.Errorf("an inner error gives %v and logs %q", err, logged.String())
	}
	early, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	_, err = g(early, nil, info, func(ctx context.Context, _ any) (any, error) {
		if end, _ := ctx.Deadline(); time.Until(end) < 30*time.Second {
			t.Error("the caller's own deadline was shortened")
		}
		return nil, status.Error(codes.NotFound, "as it is")
	})
	if status.Code(err) != codes.NotFound {
		t.Errorf("a status gives %v", err)
	}
}

// The generated description and ours have the same methods.
func TestHotServiceIsWhole(t *testing.T) {
	hot := hotSpecs()
	if len(hot.Methods) != len(pb.Specs_ServiceDesc.Methods) {
		t.Fatalf("%d methods, want %d", len(hot.Methods), len(pb.Specs_ServiceDesc.Methods))
	}
	for i, m := range hot.Methods {
		if m.MethodName != pb.Specs_ServiceDesc.Methods[i].MethodName || m.Handler == nil {
			t.Errorf("method %d is %s", i, m.MethodName)
		}
	}
	NewServer(Deps{Catalog: &catalog.Catalog{}, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}).Stop()
}

// Record reads answer before any interceptor runs, so they may ask for no role.
func TestHotReadsNeedNoRole(t *testing.T) {
	for _, m := range []string{pb.Specs_GetVehicle_FullMethodName, pb.Specs_GetFastener_FullMethodName, pb.Specs_GetAssembly_FullMethodName, pb.Specs_GetProcedure_FullMethodName, pb.Specs_GetSource_FullMethodName} {
		if n, ok := access.NeedsOf(m); !ok || n.Roles != nil {
			t.Errorf("%s needs %v, %t", m, n, ok)
		}
	}
}
