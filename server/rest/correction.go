package rest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/rpc"
	"proofload/server/view"
	"proofload/specdata"
)

// verbs are the custom methods of the members of a collection, by what stands
// behind the colon.
type verbs map[string]http.Handler

// ServeHTTP implements http.Handler.
func (v verbs) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	_, verb, _ := strings.Cut(r.PathValue("id"), ":")
	next, ok := v[verb]
	if !ok {
		fail(w, r, notFound(r))
		return
	}
	next.ServeHTTP(w, r)
}

// idempotencyKey returns the request id of a header, without the quotes that a
// structured field has (RFC 9651, section 3.3.3).
func idempotencyKey(r *http.Request) string {
	key := r.Header.Get("Idempotency-Key")
	if inner, ok := strings.CutPrefix(key, `"`); ok && strings.HasSuffix(inner, `"`) {
		return inner[:len(inner)-1]
	}
	return key
}

// correctionHeaders returns a correction that is answered its validator, and one that
// was made its address.
func correctionHeaders(ctx context.Context, w http.ResponseWriter, m proto.Message) error {
	c, ok := m.(*pb.Correction)
	if !ok || c.Name == "" {
		return nil
	}
	w.Header().Set("Etag", c.Etag)
	if method, _ := runtime.RPCMethod(ctx); method == pb.Corrections_CreateCorrection_FullMethodName {
		w.Header().Set("Location", "/v1/"+c.Name)
	}
	return nil
}

// made answers 201 where an address was made (RFC 9110, section 15.3.2); the
// gateway knows only 200.
func made(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(&madeAnswer{ResponseWriter: w}, r)
	})
}

type madeAnswer struct {
	http.ResponseWriter
	begun bool
}

// WriteHeader implements http.ResponseWriter.
func (m *madeAnswer) WriteHeader(status int) {
	m.begun = true
	if status == http.StatusOK && m.Header().Get("Location") != "" {
		status = http.StatusCreated
	}
	m.ResponseWriter.WriteHeader(status)
}

// Write implements http.ResponseWriter.
func (m *madeAnswer) Write(b []byte) (int, error) {
	if !m.begun {
		m.WriteHeader(http.StatusOK)
	}
	return m.ResponseWriter.Write(b)
}

// The media types of patches and documents.
const (
	mergePatchMedia = "application/merge-patch+json"
	jsonPatchMedia  = "application/json-patch+json"
	jsonMedia       = "application/json"
	yamlMedia       = "application/yaml"
)

// reasonHeader says why, where the query does not.
const reasonHeader = "Proofload-Reason"

// writeQuery is what the query of a write of a document may have.
var writeQuery = params{"reason": textParam, "evidence": textsParam, "validate_only": boolParam}

// serveDocumentWrites serves PATCH, PUT and DELETE of documents: what an editor's
// tools know how to do, each answered with the correction it made.
func (h *Handler) serveDocumentWrites() {
	for _, r := range documentWrites() {
		kind, _ := specdata.KindOf(strings.Split(r.path, "/")[2])
		h.serve(r.method+" "+r.path, h.cleared(pb.Corrections_CreateCorrection_FullMethodName, h.writeDocument(kind)))
	}
}

// documentWrites lists the addresses that take a write of a document. They are in
// no .proto file: what they do is CreateCorrection, in the words of HTTP.
func documentWrites() []route {
	var out []route
	for _, k := range specdata.Kinds {
		for _, method := range []string{http.MethodPut, http.MethodPatch, http.MethodDelete} {
			out = append(out, route{method: method, path: "/v1/" + k.Collection() + "/{id}/document", query: writeQuery, body: method != http.MethodDelete, request: true})
		}
	}
	return out
}

// writeDocument proposes what a write of one document asks for.
func (h *Handler) writeDocument(kind specdata.Kind) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := withDeadline(r)
		defer cancel()
		in, err := proposalOf(w, r, kind)
		if err != nil {
			fail(w, r, err)
			return
		}
		if key := idempotencyKey(r); key != "" {
			ctx = rpc.WithRequestID(ctx, key)
		}
		out, err := h.rpc.Corrections.CreateCorrection(ctx, in)
		if err != nil {
			h.fail(w, r, asPrecondition(err))
			return
		}
		body, err := view.EncodeJSON(out)
		if err != nil {
			h.fail(w, r, err)
			return
		}
		header, status := w.Header(), http.StatusOK
		if out.Name != "" {
			header.Set("Location", "/v1/"+out.Name)
			status = http.StatusCreated
		}
		header["Content-Type"] = jsonType
		header["Cache-Control"] = revalidate
		header["Vary"] = vary
		header.Set("Content-Length", strconv.Itoa(len(body)))
		w.WriteHeader(status)
		w.Write(body)
	})
}

// proposalOf reads a write of a document as a proposal.
func proposalOf(w http.ResponseWriter, r *http.Request, kind specdata.Kind) (*pb.CreateCorrectionRequest, error) {
	q, err := queryOf(r, writeQuery)
	if err != nil {
		return nil, err
	}
	if !acceptsJSON(r) {
		return nil, notAcceptable(jsonMedia)
	}
	if err := takesMedia(w, r); err != nil {
		return nil, err
	}
	ch := &pb.CorrectionChange{Record: kind.Collection() + "/" + r.PathValue("id")}
	in := &pb.CreateCorrectionRequest{Correction: &pb.Correction{Changes: []*pb.CorrectionChange{ch}, Evidence: q.Values["evidence"]}}
	if in.Correction.Reason, err = reasonOf(r, q.Get("reason")); err != nil {
		return nil, err
	}
	in.ValidateOnly = q.flag("validate_only")
	if ch.BaseHash, err = baseOf(r); err != nil {
		return nil, err
	}
	return in, bodyOf(w, r, ch)
}

// reasonOf returns why, from the header or the query.
func reasonOf(r *http.Request, query string) (string, error) {
	header := r.Header.Get(reasonHeader)
	switch {
	case header != "" && query != "" && header != query:
		return "", fault.Field("reason", "reason in the query differs from the one in the %s header; give one", reasonHeader)
	case header == "" && query == "":
		return "", fault.Field("reason", "reason is missing; say why in the %s header or in the query as reason=", reasonHeader)
	case !validText([]string{header}):
		return "", fault.Field("reason", "%s is not UTF-8 text", reasonHeader)
	case header != "":
		return header, nil
	}
	return query, nil
}

// baseOf returns the hash of the document that a write was made against, "" for a new
// record (RFC 9110, sections 13.1.1 and 13.1.2). A write that does not say what it
// was made against is refused (RFC 6585, section 3): nobody changes a value that
// they did not look at.
func baseOf(r *http.Request) (hash string, err error) {
	match, none := r.Header.Values("If-Match"), r.Header.Values("If-None-Match")
	switch {
	case len(none) > 0 && (r.Method != http.MethodPut || len(none) > 1 || none[0] != "*" || len(match) > 0):
		return "", fault.Field("If-None-Match", "If-None-Match is not understood here; PUT takes If-None-Match: * for a new record, and every other write If-Match with the ETag of the document")
	case len(none) == 1:
		return "", nil
	case len(match) == 0 || match[0] == "*":
		return "", fault.New(fault.EtagRequired, "write does not say which document it was made against; read %s, and send its ETag as If-Match", ask.Clip(r.URL.Path)).With("path", ask.Clip(r.URL.Path))
	case len(match) > 1 || strings.Contains(match[0], ","):
		return "", fault.Field("If-Match", "If-Match names several documents; send the one ETag of the document that was changed")
	}
	tag, ok := strings.CutPrefix(match[0], `"`)
	tag, closed := strings.CutSuffix(tag, `"`)
	if !ok || !closed || len(tag) != 64 || strings.Trim(tag, "0123456789abcdef") != "" {
		// The strong comparison never matches it (RFC 9110, section 8.8.3.2).
		return "", fault.New(fault.EtagMismatch, "If-Match %q is not the ETag of a document; read %s, and send its ETag as it is", ask.Clip(match[0]), ask.Clip(r.URL.Path)).
			With("ifMatch", ask.Clip(match[0])).With("path", ask.Clip(r.URL.Path))
	}
	return tag, nil
}

// takesMedia refuses a body of a kind that the method does not take.
func takesMedia(w http.ResponseWriter, r *http.Request) error {
	media := mediaOf(r)
	switch {
	case r.Method == http.MethodDelete:
	case r.Method == http.MethodPatch && media != mergePatchMedia && media != jsonPatchMedia:
		w.Header().Set("Accept-Patch", mergePatchMedia+", "+jsonPatchMedia) // RFC 5789, section 3.1
		return unsupported(r, mergePatchMedia, jsonPatchMedia)
	case r.Method == http.MethodPut && media != jsonMedia && media != yamlMedia && media != "application/x-yaml" && media != "text/yaml":
		return unsupported(r, jsonMedia, yamlMedia)
	}
	return nil
}

// bodyOf reads what a write is to do.
func bodyOf(w http.ResponseWriter, r *http.Request, ch *pb.CorrectionChange) error {
	media := mediaOf(r)
	if r.Method == http.MethodDelete {
		if r.ContentLength != 0 {
			return fault.New(fault.RequestMalformed, "request has a body, which DELETE does not take; the reason goes into the %s header", reasonHeader)
		}
		ch.Withdraw = true
		return nil
	}
	body, err := read(w, r)
	if err != nil {
		return err
	}
	switch media {
	case mergePatchMedia:
		ch.MergePatch = &structpb.Struct{}
		return patchOf(body, ch.MergePatch, "a JSON object (RFC 7396)")
	case jsonPatchMedia:
		ch.JsonPatch = &structpb.ListValue{}
		return patchOf(body, ch.JsonPatch, "a list of operations (RFC 6902)")
	}
	if len(bytes.TrimSpace(body)) == 0 {
		return fault.New(fault.RequestMalformed, "request has no body; send the whole document")
	}
	ch.Document = string(bytes.ToValidUTF8(body, []byte("\uFFFD")))
	return nil
}

func patchOf(body []byte, into proto.Message, what string) error {
	if err := protojson.Unmarshal(body, into); err != nil {
		var syntax *json.SyntaxError
		if errors.As(json.Unmarshal(body, new(any)), &syntax) {
			line, column := placeOf(body, syntax.Offset)
			return fault.New(fault.RequestMalformed, "patch is no JSON at line %d, column %d; write %s", line, column, what).With("line", strconv.Itoa(line)).With("column", strconv.Itoa(column)).Because(err)
		}
		if name := twice(body); name != "" {
			return fault.New(fault.RequestMalformed, "patch has the member %s twice; give it once", ask.Clip(name)).With("field", ask.Clip(name)).Because(err)
		}
		return fault.New(fault.RequestMalformed, "patch is not %s", what).Because(err)
	}
	return nil
}

// asPrecondition returns an error in the words of conditional requests: a base that
// came as If-Match or If-None-Match and does not hold is 412 (RFC 9110, section
// 15.5.13). Both sides of a clash stay in it.
func asPrecondition(err error) error {
	e := fault.From(err)
	switch {
	case e.Kind == fault.FieldsClash, e.Kind == fault.RecordMoved,
		e.Kind == fault.BaseRequired, // If-None-Match: *, and there is one
		e.Kind == fault.InvalidArgument && strings.HasSuffix(e.Metadata["field"], ".base_hash"):
		as := *e
		as.Kind = fault.EtagMismatch
		return &as
	}
	return e
}
