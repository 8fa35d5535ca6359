package fault

import (
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "proofload/api/proofload/v1"
)

// GRPCStatus renders the error for gRPC (AIP-193): an ErrorInfo always, a
// BadRequest for bad fields, FieldClashes for fields changed by two sides, a
// ResourceInfo for records, a RetryInfo where waiting helps.
func (e *Error) GRPCStatus() *status.Status {
	row := e.Kind.Row()
	st := status.New(row.Code, e.Message)
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: string(row.Kind), Domain: Domain, Metadata: e.Metadata}}
	if len(e.Violations) > 0 {
		bad := &errdetails.BadRequest{}
		for _, v := range e.Violations {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: v.Field, Description: v.Description})
		}
		details = append(details, bad)
	}
	if len(e.Clashes) > 0 {
		both := &pb.FieldClashes{}
		for _, c := range e.Clashes {
			both.Clashes = append(both.Clashes, &pb.FieldClash{Record: c.Record, Pointer: c.Pointer, Base: c.Base, Current: c.Current, Proposed: c.Proposed})
		}
		details = append(details, protoadapt.MessageV1Of(both))
	}
	if name := e.Metadata["record"]; name != "" {
		kind, _, _ := strings.Cut(name, "/")
		details = append(details, &errdetails.ResourceInfo{ResourceType: Domain + "/" + kind, ResourceName: name, Description: row.Title})
	}
	if e.RetryAfter > 0 {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(e.RetryAfter)})
	}
	with, err := st.WithDetails(details...)
	if err != nil {
		return st
	}
	return with
}

// fromStatus reads an error that came as a gRPC status: from a server of ours, or
// from the gateway, whose own errors carry no ErrorInfo.
func fromStatus(err error) (*Error, bool) {
	st, ok := status.FromError(err)
	if !ok || st.Code() == codes.OK {
		return nil, false
	}
	e := New(ofCode(st.Code()), "%s", st.Message()).Because(err)
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			if d.Domain == Domain {
				e.Kind, e.Metadata = Kind(d.Reason), d.Metadata
			}
		case *errdetails.BadRequest:
			for _, v := range d.FieldViolations {
				e.Violations = append(e.Violations, Violation{v.Field, v.Description})
			}
		case *pb.FieldClashes:
			for _, c := range d.Clashes {
				e.Clashes = append(e.Clashes, Clash{c.Record, c.Pointer, c.Base, c.Current, c.Proposed})
			}
		case *errdetails.RetryInfo:
			e.RetryAfter = d.RetryDelay.AsDuration()
		}
	}
	return e, true
}

// ofCode returns the kind of a status that does not say its reason.
func ofCode(c codes.Code) Kind {
	switch c {
	case codes.InvalidArgument:
		return RequestMalformed
	case codes.NotFound, codes.Unimplemented:
		return RouteNotFound
	case codes.ResourceExhausted:
		return LimitSize
	case codes.DeadlineExceeded:
		return DeadlineExceeded
	case codes.Canceled:
		return Cancelled
	case codes.Unavailable:
		return Draining
	}
	return Internal
}

// Problem is the RFC 9457 form of an error.
type Problem struct {
	Type       string            `json:"type"`
	Title      string            `json:"title"`
	Status     int               `json:"status"`
	Detail     string            `json:"detail"`
	Instance   string            `json:"instance,omitempty"`
	Reason     string            `json:"reason"`
	Domain     string            `json:"domain"`
	Metadata   map[string]string `json:"metadata,omitempty"`
	Violations []Violation       `json:"violations,omitempty"`
	Clashes    []Clash           `json:"clashes,omitempty"`
}

// ProblemMedia is the media type of problem details.
const ProblemMedia = "application/problem+json"

// Problem renders the error for HTTP. The instance names the request.
func (e *Error) Problem(instance string) Problem {
	row := e.Kind.Row()
	return Problem{
		Type: row.Kind.Path(), Title: row.Title, Status: row.Status, Detail: e.Message, Instance: instance,
		Reason: string(row.Kind), Domain: Domain, Metadata: e.Metadata, Violations: e.Violations, Clashes: e.Clashes,
	}
}

// Path is the address of the kind's description on every server.
func (k Kind) Path() string {
	return "/problems/" + strings.ReplaceAll(strings.ToLower(string(k)), "_", "-")
}

// Write answers a request with the error as problem details.
func (e *Error) Write(w http.ResponseWriter, instance string) {
	h := w.Header()
	h.Set("Content-Type", ProblemMedia)
	h.Set("Cache-Control", "no-store")
	h.Del("ETag")
	if e.RetryAfter > 0 {
		h.Set("Retry-After", strconv.Itoa(max(1, int(e.RetryAfter.Seconds()+0.999))))
	}
	switch e.Kind { // RFC 6750, section 3
	case TokenMissing:
		h.Add("WWW-Authenticate", `Bearer realm="proofload"`)
	case TokenInvalid:
		h.Add("WWW-Authenticate", `Bearer realm="proofload", error="invalid_token"`)
	case RoleRequired:
		h.Add("WWW-Authenticate", `Bearer realm="proofload", error="insufficient_scope"`)
	}
	switch {
	case len(e.Allow) == 0:
	case e.Kind == MethodNotAllowed:
		h.Set("Allow", strings.Join(slices.Sorted(slices.Values(e.Allow)), ", "))
	case e.Kind == UnsupportedMedia:
		h.Set("Accept", strings.Join(e.Allow, ", "))
	}
	p := e.Problem(instance)
	body, err := json.Marshal(p)
	if err != nil {
		body = []byte("{}")
	}
	h.Set("Content-Length", strconv.Itoa(len(body)+1))
	w.WriteHeader(p.Status)
	w.Write(append(body, '\n'))
}
