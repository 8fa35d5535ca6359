package rest

import (
	"net/http"
	"strconv"
	"strings"

	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/rpc"
	"proofload/server/view"
	"proofload/specdata"
)

var (
	jsonType   = []string{"application/json"}
	textType   = []string{"text/plain; charset=utf-8"}
	revalidate = []string{"private, no-cache"}
	vary       = []string{"Accept, Authorization"}
)

// record reads one record: stored bytes, validator, 304.
func (h *Handler) record(kind specdata.Kind) http.Handler {
	prefix := kind.Collection() + "/"
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !acceptsJSON(r) {
			fail(w, r, notAcceptable("application/json"))
			return
		}
		m, err := momentOf(r)
		if err != nil {
			fail(w, r, err)
			return
		}
		n, err := ask.Name("name", prefix+r.PathValue("id"), kind)
		if err != nil {
			fail(w, r, err)
			return
		}
		ctx, cancel := withDeadline(r)
		defer cancel()
		v, position, err := h.rpc.Specs.Read(ctx, n, m)
		if err != nil {
			h.fail(w, r, err)
			return
		}
		h.sendView(w, r, v, position)
	})
}

// hot answers a plain read of a record's newest state from what is kept ready,
// before the router looks at it: routing alone costs as much as the rest. What is
// kept has a valid name, so an address that is found needs no other check.
func (h *Handler) hot(w http.ResponseWriter, r *http.Request, caller *access.Token) bool {
	if r.Method != http.MethodGet && r.Method != http.MethodHead || r.URL.RawQuery != "" || r.URL.RawPath != "" {
		return false
	}
	name, ok := strings.CutPrefix(r.URL.Path, "/v1/")
	if !ok || !acceptsJSON(r) {
		return false
	}
	v, position, ok := h.rpc.Specs.Ready(r.Context(), caller, name)
	if ok {
		h.sendView(w, r, v, position)
	}
	return ok
}

func (h *Handler) sendView(w http.ResponseWriter, r *http.Request, v *view.View, position int64) {
	stored, err := v.Stored()
	if err != nil {
		h.fail(w, r, err)
		return
	}
	if !h.notModified(w, r, stored.ETag, position) {
		send(w, r, jsonType, stored.Length, stored.JSON)
	}
}

// notModified sets the headers of a read and answers it where the caller holds what is current.
func (h *Handler) notModified(w http.ResponseWriter, r *http.Request, tag []string, position int64) bool {
	header := w.Header()
	header["Etag"] = tag
	header["Cache-Control"] = revalidate
	header["Vary"] = vary
	header[positionHeader] = h.positionText(position)
	if r.Header["If-Match"] != nil && !holds(w, r, tag[0]) {
		return true
	}
	if !matches(r, tag[0]) {
		return false
	}
	w.WriteHeader(http.StatusNotModified)
	return true
}

// holds reports whether If-Match names the tag, and answers where it does not (RFC 9110,
// section 13.1.1: the strong comparison).
func holds(w http.ResponseWriter, r *http.Request, tag string) bool {
	for _, field := range r.Header["If-Match"] {
		for t := range strings.SplitSeq(field, ",") {
			if t = strings.TrimSpace(t); t == "*" || t == tag {
				return true
			}
		}
	}
	fail(w, r, fault.New(fault.EtagMismatch, "what is read now has the ETag %s, which If-Match does not name", tag).With("etag", tag))
	return false
}

// written is a position as a header value.
type written struct {
	position int64
	text     []string
}

// positionText returns the header value of a position; nearly every read has the same.
func (h *Handler) positionText(position int64) []string {
	if p := h.newest.Load(); p != nil && p.position == position {
		return p.text
	}
	p := &written{position, []string{strconv.FormatInt(position, 10)}}
	h.newest.Store(p)
	return p.text
}

// document reads the canonical document, byte for byte.
func (h *Handler) document(kind specdata.Kind) http.Handler {
	prefix := kind.Collection() + "/"
	form := []string{"</schemas/" + string(kind) + `.json>; rel="describedby"; type="application/schema+json"`}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !acceptsJSON(r) {
			fail(w, r, notAcceptable("application/json"))
			return
		}
		m, err := momentOf(r)
		if err != nil {
			fail(w, r, err)
			return
		}
		name, err := ask.Name("name", prefix+r.PathValue("id"), kind)
		if err != nil {
			fail(w, r, err)
			return
		}
		ctx, cancel := withDeadline(r)
		defer cancel()
		rev, position, err := h.catalog.Current(ctx, name, m)
		if err != nil {
			h.fail(w, r, err)
			return
		}
		w.Header()["Link"] = form
		if !h.notModified(w, r, []string{`"` + rev.Hash + `"`}, position) {
			send(w, r, jsonType, []string{strconv.Itoa(len(rev.Document))}, rev.Document)
		}
	})
}

func send(w http.ResponseWriter, r *http.Request, media, length []string, body []byte) {
	header := w.Header()
	header["Content-Type"] = media
	header["Content-Length"] = length
	if r.Method != http.MethodHead {
		w.Write(body)
	}
}

func sendText(w http.ResponseWriter, r *http.Request, media []string, body []byte) {
	send(w, r, media, []string{strconv.Itoa(len(body))}, body)
}

// momentOf reads the query of a record read, which may name a moment and nothing else.
func momentOf(r *http.Request) (ask.Moment, error) {
	if r.URL.RawQuery == "" {
		return ask.Newest(), nil
	}
	q, err := queryOf(r, readQuery)
	if err != nil {
		return ask.Moment{}, err
	}
	return q.when()
}

// matches reports whether If-None-Match names the tag (RFC 9110, 13.1.2: the weak
// comparison, any of a list, or *).
func matches(r *http.Request, tag string) bool {
	for _, field := range r.Header["If-None-Match"] {
		if field == tag {
			return true
		}
		for _, t := range strings.Split(field, ",") {
			t = strings.TrimSpace(t)
			if t == "*" || strings.TrimPrefix(t, "W/") == tag {
				return true
			}
		}
	}
	return false
}

// acceptsJSON reports whether an answer in JSON is welcome.
func acceptsJSON(r *http.Request) bool { return accepts(r, "application/json") > 0 }

// accepts returns the quality of a media type under the Accept header, 0 where it is
// refused (RFC 9110, 12.5.1): the most specific range that covers it decides.
func accepts(r *http.Request, media string) float64 {
	fields := r.Header["Accept"]
	if len(fields) == 0 || len(fields) == 1 && (fields[0] == "*/*" || fields[0] == media) {
		return 1
	}
	main, _, _ := strings.Cut(media, "/")
	best, quality := 0, 0.0
	for _, field := range fields {
		for _, part := range strings.Split(field, ",") {
			rang, parameters, _ := strings.Cut(strings.TrimSpace(part), ";")
			specific := 0
			switch rang = strings.ToLower(strings.TrimSpace(rang)); rang {
			case media:
				specific = 3
			case main + "/*":
				specific = 2
			case "*/*":
				specific = 1
			}
			if specific <= best {
				continue
			}
			best, quality = specific, qualityOf(parameters)
		}
	}
	return quality
}

func qualityOf(parameters string) float64 {
	for _, p := range strings.Split(parameters, ";") {
		key, value, _ := strings.Cut(strings.TrimSpace(p), "=")
		if strings.EqualFold(key, "q") {
			q, err := strconv.ParseFloat(value, 64)
			if err != nil || !(q >= 0 && q <= 1) {
				return 0
			}
			return q
		}
	}
	return 1
}

func notAcceptable(media ...string) *fault.Error {
	e := fault.New(fault.NotAcceptable, "answer exists as %s only; accept it, or leave Accept out", strings.Join(media, " and "))
	e.Allow = media
	return e.With("available", strings.Join(media, ", "))
}

// epochHeader is rpc.EpochKey as net/http spells it.
var epochHeader = http.CanonicalHeaderKey(rpc.EpochKey)

// positionHeader is rpc.PositionKey as net/http spells it.
var positionHeader = http.CanonicalHeaderKey(rpc.PositionKey)
