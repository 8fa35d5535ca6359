package fault

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"proofload/server/store"
)

// Both wires say the same of every kind: what a gRPC caller can read from the
// status is what an HTTP caller can read from the problem.
func TestBothWiresSayTheSame(t *testing.T) {
	for _, row := range Table {
		e := New(row.Kind, "record %s is wrong", "fasteners/a").With("record", "fasteners/a").With("position", "3")
		e.Violations = []Violation{{"/tightening/stages/0/torque", "torque is missing"}, {"/id", "id is wrong"}}
		e.Clashes = []Clash{{"fasteners/a", "/title", `"Bolt"`, `"Nut"`, ""}}
		e.RetryAfter = 2 * time.Second

		s := status.Convert(e)
		if s.Code() != row.Code {
			t.Errorf("%s: gRPC says %s, the table %s", row.Kind, s.Code(), row.Code)
		}
		back, ok := fromStatus(s.Err())
		if !ok || !back.Equal(e) || back.RetryAfter != e.RetryAfter {
			t.Errorf("%s: read back from gRPC is %+v", row.Kind, back)
		}

		w := httptest.NewRecorder()
		e.Write(w, "urn:uuid:1")
		var p Problem
		d := json.NewDecoder(w.Body)
		d.DisallowUnknownFields()
		if err := d.Decode(&p); err != nil {
			t.Fatalf("%s: %v", row.Kind, err)
		}
		if w.Code != row.Status || p.Status != row.Status || w.Header().Get("Content-Type") != "application/problem+json" || w.Header().Get("Retry-After") != "2" {
			t.Errorf("%s: HTTP says %d %v", row.Kind, w.Code, w.Header())
		}
		if p.Reason != string(row.Kind) || p.Detail != s.Message() || p.Domain != Domain || !maps.Equal(p.Metadata, back.Metadata) || !slices.Equal(p.Violations, back.Violations) || !slices.Equal(p.Clashes, back.Clashes) {
			t.Errorf("%s: problem %+v differs from status %v", row.Kind, p, s)
		}
		// ErrorInfo is always there (AIP-193), with the reason in the form it asks for.
		info, ok := s.Details()[0].(*errdetails.ErrorInfo)
		if !ok || info.Domain != Domain || !regexp.MustCompile(`^[A-Z][A-Z0-9_]+[A-Z0-9]$`).MatchString(info.Reason) || len(info.Reason) > 63 {
			t.Errorf("%s: first detail is %v", row.Kind, s.Details()[0])
		}
	}
}

func TestTableListsEveryKindOnce(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "kind.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var declared []string
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		if id, ok := spec.Type.(*ast.Ident); ok && id.Name == "Kind" {
			s, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			declared = append(declared, s)
		}
		return true
	})
	var listed []string
	for _, r := range Table {
		listed = append(listed, string(r.Kind))
		if !strings.HasSuffix(r.Title, ".") || !strings.HasSuffix(r.Mend, ".") {
			t.Errorf("%s: title %q and mend %q are not sentences", r.Kind, r.Title, r.Mend)
		}
		// RFC 9110 classes: the caller's fault is 4xx, ours 5xx.
		ours := slices.Contains([]codes.Code{codes.Internal, codes.DataLoss, codes.Unknown, codes.Unavailable, codes.DeadlineExceeded}, r.Code) || r.Kind == StorageFull
		if ours != (r.Status >= 500) {
			t.Errorf("%s: gRPC code %s and HTTP status %d disagree on whose fault it is", r.Kind, r.Code, r.Status)
		}
	}
	if !slices.Equal(declared, listed) {
		t.Errorf("declared kinds %v\ndiffer from the table %v", declared, listed)
	}
}

func TestFrom(t *testing.T) {
	own := New(RecordWithdrawn, "gone")
	for _, c := range []struct {
		err  error
		want Kind
	}{
		{own, RecordWithdrawn},
		{fmt.Errorf("while reading: %w", own), RecordWithdrawn},
		{fmt.Errorf("record a: %w", store.ErrNotFound), RecordNotFound},
		{&store.Conflict{Name: "fasteners/a"}, RecordMoved},
		{fmt.Errorf("x: %w", store.ErrFull), StorageFull},
		{fmt.Errorf("x: %w", store.ErrCorrupt), StoreCorrupt},
		{context.DeadlineExceeded, DeadlineExceeded},
		{context.Canceled, Cancelled},
		{status.Error(codes.InvalidArgument, "bad json"), RequestMalformed},
		{errors.New("disk /secret/path failed"), Internal},
	} {
		if got := From(c.err); got.Kind != c.want {
			t.Errorf("%v: got %s, want %s", c.err, got.Kind, c.want)
		}
	}
	if m := From(errors.New("disk /secret/path failed")).Message; strings.Contains(m, "secret") {
		t.Errorf("an inner error is shown: %q", m)
	}
}

func TestHeadersOfRefusals(t *testing.T) {
	e := New(MethodNotAllowed, "no")
	e.Allow = []string{"HEAD", "GET"}
	w := httptest.NewRecorder()
	e.Write(w, "")
	if got := w.Header().Get("Allow"); got != "GET, HEAD" || w.Code != http.StatusMethodNotAllowed {
		t.Errorf("405 with Allow %q; RFC 9110 section 15.5.6 asks for the methods", got)
	}
}
