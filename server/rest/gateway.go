package rest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"proofload/api/openapi"
	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/rpc"
	"proofload/server/view"
)

// newGateway makes the handler that turns REST into calls of the services, in process.
func newGateway(s *rpc.Server) (http.Handler, error) {
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, &marshaler{runtime.JSONPb{
			MarshalOptions: protojson.MarshalOptions{UseProtoNames: true},
		}}),
		runtime.WithErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
			fail(w, r, plain(err))
		}),
		runtime.WithRoutingErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, _ int) {
			fail(w, r, notFound(r))
		}),
		runtime.WithIncomingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingHeaderMatcher(func(key string) (string, bool) { return positionHeader, key == rpc.PositionKey }),
		runtime.WithForwardResponseOption(correctionHeaders),
		runtime.WithForwardResponseOption(nextPage),
		runtime.WithWriteContentLength(),
	)
	ctx := context.Background()
	if err := pb.RegisterSpecsHandlerServer(ctx, mux, s.Specs); err != nil {
		return nil, err
	}
	if err := pb.RegisterChecksHandlerServer(ctx, mux, s.Checks); err != nil {
		return nil, err
	}
	if err := pb.RegisterCorrectionsHandlerServer(ctx, mux, s.Corrections); err != nil {
		return nil, err
	}
	if err := pb.RegisterHistoryHandlerServer(ctx, mux, s.History); err != nil {
		return nil, err
	}
	if err := pb.RegisterJobsHandlerServer(ctx, mux, s.Jobs); err != nil {
		return nil, err
	}
	if err := pb.RegisterNarrationsHandlerServer(ctx, mux, s.Narrations); err != nil {
		return nil, err
	}
	if err := pb.RegisterLedgerHandlerServer(ctx, mux, s.Ledger); err != nil {
		return nil, err
	}
	return mux, pb.RegisterAccessHandlerServer(ctx, mux, s.Access)
}

// marshaler writes JSON as stored views are written.
type marshaler struct{ runtime.JSONPb }

// Marshal implements runtime.Marshaler.
func (m *marshaler) Marshal(v any) ([]byte, error) {
	switch v := v.(type) {
	case *pb.LintDocumentsResponse:
		// A report says "no findings" and "not publishable" in so many words.
		return view.EncodeWholeJSON(v)
	case proto.Message:
		return view.EncodeJSON(v)
	}
	return m.JSONPb.Marshal(v)
}

// plain turns the gateway's own errors into ours. What it says of a request it cannot
// read comes from its libraries; a request has been read here before, so that is rare.
func plain(err error) error {
	e := fault.From(err)
	if e.Kind == fault.RequestMalformed && e.Metadata == nil {
		return fault.New(fault.RequestMalformed, "request is not what this address takes; the OpenAPI document (GET /openapi.json) says what is").Because(err)
	}
	return e
}

// route is one address of the interface, taken from the descriptors.
type route struct {
	method, path string
	// rpc is the name of the method it calls.
	rpc string
	// call is the name of that method as calls carry it.
	call  string
	query params
	body  bool
	// message makes an empty message of what the body holds.
	message func() proto.Message
	// request says that its message has a request id, which a header may carry.
	request bool
}

// routes lists every address that the .proto files declare.
func routes() ([]route, error) {
	var out []route
	for _, service := range access.Services() {
		for i := range service.Methods().Len() {
			m := service.Methods().Get(i)
			rule, ok := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
			if !ok || rule == nil {
				return nil, fmt.Errorf("method %s has no address", m.FullName())
			}
			for _, r := range append([]*annotations.HttpRule{rule}, rule.AdditionalBindings...) {
				one, err := routeOf(m, r)
				if err != nil {
					return nil, err
				}
				out = append(out, one)
			}
		}
	}
	return out, nil
}

func routeOf(m protoreflect.MethodDescriptor, rule *annotations.HttpRule) (route, error) {
	r := route{rpc: string(m.Name()), call: access.MethodName(m), query: params{}, body: rule.Body != ""}
	switch p := rule.Pattern.(type) {
	case *annotations.HttpRule_Get:
		r.method, r.path = http.MethodGet, p.Get
	case *annotations.HttpRule_Post:
		r.method, r.path = http.MethodPost, p.Post
	default:
		return r, fmt.Errorf("method %s has an address of a kind that is not served", m.FullName())
	}
	inPath := ""
	if before, after, ok := strings.Cut(r.path, "{"); ok {
		variable, rest, _ := strings.Cut(after, "}")
		var template string
		inPath, template, _ = strings.Cut(variable, "=")
		// A name with two parts that vary is a revision of a record.
		template = strings.Replace(strings.Replace(template, "*", "{id}", 1), "*", "{number}", 1)
		r.path = before + template + rest
	}
	if err := r.takes(m, rule.Body); err != nil {
		return r, err
	}
	fields := m.Input().Fields()
	r.request = fields.ByName("request_id") != nil
	for i := range fields.Len() {
		if f := fields.Get(i); string(f.Name()) != inPath && string(f.Name()) != rule.Body && rule.Body != "*" {
			r.query[string(f.Name())] = param{f.Kind(), f.IsList()}
		}
	}
	return r, nil
}

// takes keeps which message the body of a route is: the whole request, or a field of it.
func (r *route) takes(m protoreflect.MethodDescriptor, body string) error {
	d := m.Input()
	switch f := d.Fields().ByName(protoreflect.Name(body)); {
	case body == "":
		return nil
	case f != nil:
		d = f.Message()
	}
	kind, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	if err != nil {
		return fmt.Errorf("method %s: %w", m.FullName(), err)
	}
	r.message = func() proto.Message { return kind.New().Interface() }
	return nil
}

// maxBody is the most a request may send.
const maxBody = rpc.MaxReceive

// checked holds a request against its route before the gateway sees it: what the
// gateway would ignore or answer in its own words is refused here.
func checked(rt route, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, err := queryOf(r, rt.query); err != nil {
			fail(w, r, err)
			return
		}
		if !slices.Contains(textual, rt.rpc) && !acceptsJSON(r) {
			fail(w, r, notAcceptable("application/json"))
			return
		}
		ctx, cancel := withDeadline(r)
		defer cancel()
		if key := idempotencyKey(r); key != "" && rt.request {
			ctx = rpc.WithRequestID(ctx, key)
		}
		in := r.WithContext(ctx)
		in.Header = http.Header{}
		if r.Method == http.MethodHead {
			in.Method = http.MethodGet // net/http drops the body
		}
		if rt.body {
			body, err := read(w, r)
			if err != nil {
				fail(w, r, err)
				return
			}
			in.Body, in.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
			in.Header["Content-Type"] = r.Header["Content-Type"]
			if rt.rpc != "LintDocuments" {
				err := isJSON(r)
				if err == nil {
					err = readJSON(body, rt.message())
				}
				if err != nil {
					fail(w, r, err)
					return
				}
			}
		}
		in.Header["Accept"] = r.Header["Accept"]
		header := w.Header()
		header["Cache-Control"] = revalidate
		header["Vary"] = vary
		if in.Method != http.MethodGet {
			next.ServeHTTP(w, in)
			return
		}
		kept := &keptAnswer{ResponseWriter: w}
		next.ServeHTTP(kept, in)
		if kept.status == http.StatusOK {
			linkNext(header, r.URL)
			sendValidated(w, r, kept.body.Bytes())
		}
	})
}

// nextHeader carries the token of the next page to linkNext; it is never sent.
const nextHeader = "Proofload-Next"

// nextPage keeps the token of the page behind an answer.
func nextPage(_ context.Context, w http.ResponseWriter, m proto.Message) error {
	if page, ok := m.(interface{ GetNextPageToken() string }); ok && page.GetNextPageToken() != "" {
		w.Header()[nextHeader] = []string{page.GetNextPageToken()}
	}
	return nil
}

// linkNext links the next page (RFC 8288).
func linkNext(h http.Header, asked *url.URL) {
	token := h[nextHeader]
	if token == nil {
		return
	}
	delete(h, nextHeader)
	q := asked.Query()
	q.Set("page_token", token[0])
	h["Link"] = []string{"<" + asked.EscapedPath() + "?" + q.Encode() + `>; rel="next"`}
}

// sendValidated sends an answer whose media type is set with a strong validator of its
// bytes, or says that the caller holds them already (RFC 9110, section 8.8.3).
func sendValidated(w http.ResponseWriter, r *http.Request, body []byte) {
	header := w.Header()
	tag := header.Get("Etag") // of what has a version of its own
	if tag == "" {
		hash := sha256.Sum256(body)
		tag = `"` + hex.EncodeToString(hash[:16]) + `"`
		header["Etag"] = []string{tag}
	}
	if r.Header["If-Match"] != nil && !holds(w, r, tag) {
		return
	}
	if matches(r, tag) {
		header.Del("Content-Length")
		header.Del("Content-Type")
		w.WriteHeader(http.StatusNotModified)
		return
	}
	header["Content-Length"] = []string{strconv.Itoa(len(body))}
	if r.Method != http.MethodHead {
		w.Write(body)
	}
}

func read(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	if r.Header.Get("Content-Encoding") != "" {
		e := fault.New(fault.UnsupportedMedia, "body is encoded as %q; send it as it is", ask.Clip(r.Header.Get("Content-Encoding")))
		return nil, e.With("encoding", ask.Clip(r.Header.Get("Content-Encoding")))
	}
	tooLarge := func() error {
		return fault.New(fault.LimitSize, "body has over %d bytes; send less at once", maxBody).With("limit", fmt.Sprint(maxBody))
	}
	if r.ContentLength > maxBody { // as it says before it sends
		return nil, tooLarge()
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	switch over := (*http.MaxBytesError)(nil); {
	case errors.As(err, &over):
		return nil, tooLarge()
	case err != nil:
		return nil, fault.New(fault.RequestMalformed, "body ends before it is complete").Because(err)
	}
	return body, nil
}

func mediaOf(r *http.Request) string {
	media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil {
		return ""
	}
	return media
}

func isJSON(r *http.Request) error {
	if mediaOf(r) == "application/json" {
		return nil
	}
	return unsupported(r, "application/json")
}

func unsupported(r *http.Request, allowed ...string) error {
	e := fault.New(fault.UnsupportedMedia, "body has content type %q; allowed: %s", ask.Clip(r.Header.Get("Content-Type")), strings.Join(allowed, ", ")).
		With("contentType", ask.Clip(r.Header.Get("Content-Type"))).With("allowed", strings.Join(allowed, ", "))
	e.Allow = allowed
	return e
}

func openAPI(w http.ResponseWriter, r *http.Request) {
	w.Header()["Cache-Control"] = revalidate
	w.Header()["Content-Type"] = jsonType
	sendValidated(w, r, openapi.JSON)
}
