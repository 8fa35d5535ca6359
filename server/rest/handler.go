// Package rest serves the REST interface.
//
// Record reads are written by hand on net/http and send stored bytes; everything
// else goes through the gateway generated from the same .proto files, called in
// process. Every error is problem details.
package rest

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"path"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
	"unicode/utf8"

	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/meter"
	"proofload/server/prints"
	"proofload/server/pulse"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/web"
	"proofload/specdata"
)

// Deps is what the handler is made of.
type Deps struct {
	Catalog *catalog.Catalog
	// RPC holds the services that the gateway calls.
	RPC *rpc.Server
	// Gate says who asks, Reads notes what they read.
	Gate    *access.Gate
	Budgets *access.Budgets
	// Pulse says whether the store answers.
	Pulse *pulse.Pulse
	Reads *desk.Reads
	// Prints makes sheets; PublicURL is the address that stands on them, "" for the one
	// that a request came by.
	Prints    *prints.Prints
	PublicURL string
	// Pages answers what is for people.
	Pages *web.Pages
	// Epoch is that of the store: answers carry it where it is not the first.
	Epoch store.Epoch
	// Meter counts requests; nil for none.
	Meter *meter.Meter
	// Origins are the sites whose pages may read and write with a token of their own.
	Origins []string
	Log     *slog.Logger
}

// Handler is the REST interface and the pages.
type Handler struct {
	catalog *catalog.Catalog
	rpc     *rpc.Server
	gate    *access.Gate
	budgets *access.Budgets
	pulse   *pulse.Pulse
	// open has the addresses that are answered without a token.
	open  *http.ServeMux
	reads *desk.Reads
	pages *web.Pages
	log   *slog.Logger
	// prints and publicURL are described at Deps.
	prints    *prints.Prints
	publicURL string
	epoch     store.Epoch
	// epochText is the epoch as answers carry it, nil for the first.
	epochText []string
	// mux has every address and hands the rest to lost; known has every address and
	// no more, so that it can say which methods one takes.
	mux, known *http.ServeMux
	draining   atomic.Bool
	// entrance is what a request goes through first, calls takes Connect and gRPC-Web.
	entrance, calls http.Handler
	meter           *meter.Meter
	// slowAfter is rpc.SlowAfter, but for tests.
	slowAfter time.Duration
	newest    atomic.Pointer[written]
}

// NewHandler makes the handler. The error says that the generated routes do not
// fit together.
func NewHandler(d Deps) (*Handler, error) {
	h := &Handler{catalog: d.Catalog, rpc: d.RPC, gate: d.Gate, budgets: d.Budgets, pulse: d.Pulse, open: http.NewServeMux(), reads: d.Reads, prints: d.Prints, publicURL: d.PublicURL, pages: d.Pages, epoch: d.Epoch, log: d.Log, mux: http.NewServeMux(), known: http.NewServeMux(), slowAfter: rpc.SlowAfter}
	if d.Epoch.Number > 1 {
		h.epochText = []string{strconv.FormatInt(d.Epoch.Number, 10)}
	}
	gateway, err := newGateway(d.RPC)
	if err != nil {
		return nil, err
	}
	routes, err := routes()
	if err != nil {
		return nil, err
	}
	custom := map[string]verbs{}
	for _, r := range routes {
		if above, verb, ok := strings.Cut(r.path, "{id}:"); ok {
			pattern := r.method + " " + above + "{id}"
			if custom[pattern] == nil {
				custom[pattern] = verbs{}
			}
			custom[pattern][verb] = h.cleared(r.call, h.handlerOf(r, gateway))
			continue
		}
		h.serve(r.method+" "+r.path, h.cleared(r.call, h.handlerOf(r, gateway)))
	}
	for pattern, v := range custom {
		h.serve(pattern, v)
	}
	for _, r := range routes {
		if n, _ := access.NeedsOf(r.call); n.Open && d.Gate.Public() {
			h.open.Handle(r.method+" "+r.path, http.NotFoundHandler())
		}
	}
	if d.Gate.Public() {
		h.open.Handle("GET /checks", http.NotFoundHandler())
		h.open.Handle("GET /checks/{code}", http.NotFoundHandler())
	}
	// What says nothing of the library, but how to speak with the server.
	for _, address := range []string{"/healthz", "/livez", "/readyz", "/openapi.json", "/problems/{kind}", "/style.css"} {
		h.open.Handle("GET "+address, http.NotFoundHandler())
	}
	// Whoever has a token can sign in with it, where there is a page for that.
	for _, method := range []string{"GET", "POST"} {
		h.open.Handle(method+" /sign-in", http.NotFoundHandler())
	}
	h.serveDocumentWrites()
	h.serve(sheetRoute.method+" "+sheetRoute.path, h.heavy(http.HandlerFunc(h.sheet)))
	h.meter = d.Meter
	if d.Meter != nil {
		h.serve("GET /metrics", d.Meter)
	}
	h.serve("GET /livez", http.HandlerFunc(live))
	h.serve("GET /readyz", http.HandlerFunc(h.ready))
	h.serve("GET /healthz", http.HandlerFunc(h.ready)) // what those ask who know one address
	h.serve("GET /openapi.json", http.HandlerFunc(openAPI))
	h.serve("GET /problems/{kind}", http.HandlerFunc(problems))
	h.serve("GET /schemas/{file}", http.HandlerFunc(schemas))
	for _, pattern := range d.Pages.Addresses() {
		h.serve(pattern, d.Pages)
	}
	h.mux.HandleFunc("/", h.lost)
	if h.calls, err = newCalls(d.RPC.Server); err != nil {
		return nil, err
	}
	zipped, err := compressed(http.HandlerFunc(h.answer))
	if err != nil {
		return nil, err
	}
	h.entrance = crossOrigin(zipped, d.Origins, h.namedHere)
	return h, nil
}

func (h *Handler) serve(pattern string, handler http.Handler) {
	h.mux.Handle(pattern, handler)
	h.known.Handle(pattern, handler)
}

// cleared lets only those callers pass who may call a method.
func (h *Handler) cleared(method string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, err := access.Clear(r.Context(), method)
		if err != nil {
			fail(w, r, err)
			return
		}
		if n, _ := access.NeedsOf(method); n.Heavy {
			// A place is for work: who sends slowly waits for themselves and holds none.
			if r.Method == http.MethodPost {
				body, err := read(w, r)
				if err != nil {
					fail(w, r, err)
					return
				}
				r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
			}
			h.heavy(next).ServeHTTP(w, r.WithContext(ctx))
			return
		}
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}

// heavy returns a request that takes a processor for long a place among few.
func (h *Handler) heavy(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		leave, err := h.budgets.Work(r.Context())
		if err != nil {
			h.fail(w, r, err)
			return
		}
		defer leave()
		next.ServeHTTP(w, r)
	})
}

// handlerOf returns the hand-written handler of a method that has one.
func (h *Handler) handlerOf(r route, gateway http.Handler) http.Handler {
	switch r.rpc {
	case "GetVehicle":
		return h.record(specdata.KindVehicle)
	case "GetFastener":
		return h.record(specdata.KindFastener)
	case "GetAssembly":
		return h.record(specdata.KindAssembly)
	case "GetProcedure":
		return h.record(specdata.KindProcedure)
	case "GetSource":
		return h.record(specdata.KindSource)
	case "GetDocument":
		kind, _ := specdata.KindOf(strings.Split(r.path, "/")[2])
		return h.document(kind)
	case "LintDocuments":
		return checked(r, lintBody(gateway))
	case "ListVehicleFasteners":
		return checked(r, h.table(gateway))
	case "GetCheckpoint":
		return checked(r, h.orText(gateway, signedNote))
	case "GetVerifierKey":
		return checked(r, h.orText(gateway, keyText))
	case "WatchLog":
		return h.watch(r)
	case "CreateCorrection":
		return made(checked(r, gateway))
	}
	return checked(r, gateway)
}

// Drain makes the health address say that the server stops.
func (h *Handler) Drain() { h.draining.Store(true) }

// Header values are shared slices: setting them by hand costs no allocation on a
// path where the whole answer takes microseconds.
var (
	nosniff    = []string{"nosniff"}
	noReferrer = []string{"no-referrer"}
	sameOrigin = []string{"same-origin"}
	noContent  = []string{"default-src 'none'; frame-ancestors 'none'"}
)

// secure sets what every answer but a plain record read carries; pages set their
// own policy of content. A record read is JSON that no browser may take for
// anything else, so nosniff is all it needs, and each header more is felt there.
func secure(h http.Header) {
	h["Referrer-Policy"] = noReferrer
	h["Cross-Origin-Opener-Policy"] = sameOrigin
	h["Cross-Origin-Resource-Policy"] = sameOrigin
	h["Content-Security-Policy"] = noContent
}

// ServeHTTP implements http.Handler.
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) { h.entrance.ServeHTTP(w, r) }

// answer says where a request came from and what it is called, and answers it.
func (h *Handler) answer(w http.ResponseWriter, r *http.Request) {
	w.Header()["X-Content-Type-Options"] = nosniff
	defer func() {
		p := recover()
		if p == nil {
			return
		}
		if p == http.ErrAbortHandler {
			panic(p)
		}
		id := instance()
		h.log.LogAttrs(r.Context(), slog.LevelError, "panic", slog.String("path", r.URL.Path), slog.String("request", id), slog.Any("value", p), slog.String("stack", string(debug.Stack())))
		secure(w.Header())
		fault.From(fmt.Errorf("panic: %v", p)).Write(w, id)
	}()
	from, err := h.gate.OriginOf(r.RemoteAddr, r.Host, func(field string) []string { return r.Header[field] })
	if err != nil {
		secure(w.Header())
		fail(w, r, err)
		return
	}
	from.Certificate = access.Shown(r.TLS)
	if id := requestIDOf(r); id != "" {
		w.Header()[requestIDHeader] = []string{id}
	}
	h.logged(w, r, from)
}

func (h *Handler) route(w http.ResponseWriter, r *http.Request, from access.Origin) {
	if isCall(r) {
		secure(w.Header())
		h.calls.ServeHTTP(w, r.WithContext(access.From(r.Context(), from)))
		return
	}
	if h.epochText != nil {
		w.Header()[epochHeader] = h.epochText
		w, r = withEpoch(w, r, h.epoch.Number)
	}
	if said := r.Header[epochHeader]; len(said) > 0 && !isHealth(r.URL.Path) && said[0] != strconv.FormatInt(max(h.epoch.Number, 1), 10) {
		secure(w.Header())
		fail(w, r, fault.Restored(h.epoch))
		return
	}
	if away := h.pulse.Err(); away != nil && h.needsStore(r) {
		secure(w.Header())
		fail(w, r, away)
		return
	}
	caller, err := h.caller(r, from)
	if err == nil && from.Local && h.hot(w, r, caller) {
		return
	}
	if err == nil || fault.From(err).Kind == fault.TokenMissing {
		r = r.WithContext(access.With(access.From(r.Context(), from), caller))
		if over := h.budgets.Spend(access.Payer(r.Context()), access.Request); over != nil {
			secure(w.Header())
			fail(w, r, over)
			return
		}
		if err == nil && !from.Local && h.hot(w, r, caller) {
			return
		}
	}
	secure(w.Header())
	if err != nil && !h.isOpen(r, err) {
		h.unknown(w, r, h.budgets.Refused(err, from))
		return
	}
	if !plainPath(r) {
		fail(w, r, notFound(r))
		return
	}
	h.mux.ServeHTTP(w, r)
}

// isOpen reports whether a request is answered although nobody is known to have sent
// it. Health is told to everybody, also to those with a token that is none.
func (h *Handler) isOpen(r *http.Request, err error) bool {
	_, pattern := h.open.Handler(r)
	return pattern != "" && (fault.From(err).Kind == fault.TokenMissing || isHealth(r.URL.Path))
}

// needsStore reports whether an address is answered from the store.
func (h *Handler) needsStore(r *http.Request) bool {
	switch {
	case isHealth(r.URL.Path), r.URL.Path == "/openapi.json", r.URL.Path == "/style.css", r.URL.Path == "/metrics":
		return false
	}
	return !strings.HasPrefix(r.URL.Path, "/problems/")
}

func isHealth(path string) bool { return path == "/healthz" || path == "/livez" || path == "/readyz" }

// caller returns the token of a request, nil where none is needed and none was sent.
func (h *Handler) caller(r *http.Request, from access.Origin) (*access.Token, error) {
	sent := r.Header["Authorization"]
	if len(sent) == 0 && r.Header["Cookie"] != nil {
		if t, err := h.signedIn(r, from); t != nil || err != nil {
			return t, err
		}
	}
	if len(sent) == 0 {
		t, err := h.gate.Identify(r.Context(), "", from)
		if t != nil && err == nil { // a browser shows a certificate to the forms of any site
			err = web.OwnOrigin(r)
		}
		return t, err
	}
	authorization := sent[0]
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		authorization = access.OfBrowser(authorization)
	}
	return h.gate.Identify(r.Context(), authorization, from)
}

// signedIn returns the token that a browser signed in with on the pages, nil where it
// did not or the token does not hold any more. What changes something must come from a
// page of this server.
func (h *Handler) signedIn(r *http.Request, from access.Origin) (*access.Token, error) {
	secret := web.Session(r)
	if secret == "" {
		return nil, nil
	}
	t, err := h.gate.Identify(r.Context(), "Bearer "+secret, from)
	if err != nil {
		if fault.From(err).Kind == fault.TokenInvalid {
			return nil, nil
		}
		return nil, err
	}
	return t, web.OwnOrigin(r)
}

// unknown refuses somebody who did not say who they are. A browser is told to ask
// the person, who gives the token as the password.
func (h *Handler) unknown(w http.ResponseWriter, r *http.Request, err error) {
	if web.Wanted(r) {
		w.Header().Add("WWW-Authenticate", `Basic realm="proofload: any name, the token as the password", charset="UTF-8"`)
	}
	h.fail(w, r, err)
}

// plainPath refuses addresses that two readers could understand differently, and
// those that would be redirected.
func plainPath(r *http.Request) bool {
	p := r.URL.Path
	if p == "" || p[0] != '/' || len(p) > 1 && p[len(p)-1] == '/' || !utf8.ValidString(p) || !utf8.ValidString(r.URL.RawQuery) {
		return false
	}
	if strings.Contains(p, "//") || strings.Contains(p, "/.") {
		return path.Clean(p) == p
	}
	return true
}

// lost tells an address that does not exist from one that does not take the
// method, which the standard router knows but says in plain text.
func (h *Handler) lost(w http.ResponseWriter, r *http.Request) {
	err := notFound(r)
	answer := &headOnly{header: http.Header{}}
	h.known.ServeHTTP(answer, r)
	if answer.status == http.StatusMethodNotAllowed {
		allow := strings.Split(answer.header.Get("Allow"), ", ")
		if r.Method == http.MethodOptions { // RFC 9110, section 9.3.7; RFC 5789, section 3.1
			w.Header().Set("Allow", strings.Join(append(allow, http.MethodOptions), ", "))
			if slices.Contains(allow, http.MethodPatch) {
				w.Header().Set("Accept-Patch", mergePatchMedia+", "+jsonPatchMedia)
			}
			w.WriteHeader(http.StatusNoContent)
			return
		}
		err = fault.New(fault.MethodNotAllowed, "%s does not take %s; allowed: %s", ask.Clip(r.URL.Path), ask.Clip(r.Method), strings.Join(allow, ", ")).
			With("method", ask.Clip(r.Method)).With("allowed", strings.Join(allow, ", "))
		err.Allow = allow
	}
	if web.Wanted(r) && !strings.HasPrefix(r.URL.Path, "/v1/") {
		h.pages.Fail(w, r, err)
		return
	}
	fail(w, r, err)
}

func notFound(r *http.Request) *fault.Error {
	return fault.New(fault.RouteNotFound, "there is nothing at %q; GET / lists what there is", ask.Clip(r.URL.Path)).With("path", ask.Clip(r.URL.Path))
}

// headOnly is a ResponseWriter that keeps the head of an answer.
type headOnly struct {
	header http.Header
	status int
}

func (w *headOnly) Header() http.Header         { return w.header }
func (w *headOnly) WriteHeader(status int)      { w.status = status }
func (w *headOnly) Write(b []byte) (int, error) { return len(b), nil }

// fail answers with an error.
func fail(w http.ResponseWriter, r *http.Request, err error) {
	fault.From(err).Write(w, instanceOf(r))
}

type instanceKey struct{}

// instanceOf names a request and remembers the name for its line in the log.
func instanceOf(r *http.Request) string {
	id := instance()
	if kept, ok := r.Context().Value(instanceKey{}).(*string); ok {
		*kept = id
	}
	return id
}

// fail is the same for handlers that reach the store: what is the server's own
// fault goes to the log with the request's id.
func (h *Handler) fail(w http.ResponseWriter, r *http.Request, err error) {
	e, id := fault.From(err), instanceOf(r)
	if row := e.Kind.Row(); row.Status >= 500 {
		h.log.LogAttrs(r.Context(), slog.LevelError, "http", slog.String("path", r.URL.Path), slog.String("request", id), slog.String("reason", string(row.Kind)), slog.String("error", err.Error()), slog.Any("cause", e.Unwrap()))
	}
	e.Write(w, id)
}

// instance names a request, so that what a caller saw can be found in the log.
func instance() string {
	var b [16]byte
	rand.Read(b[:])
	b[6], b[8] = b[6]&0x0f|0x40, b[8]&0x3f|0x80 // RFC 9562, version 4
	s := hex.EncodeToString(b[:])
	return "urn:uuid:" + s[:8] + "-" + s[8:12] + "-" + s[12:16] + "-" + s[16:20] + "-" + s[20:]
}

// live answers whoever asks whether the process runs; restarting it mends nothing
// else.
func live(w http.ResponseWriter, _ *http.Request) {
	w.Header()["Content-Type"] = textType
	fmt.Fprintln(w, "ok")
}

// ready answers whoever asks whether to send requests here: not where the server
// stops, nor where its store does not answer.
func (h *Handler) ready(w http.ResponseWriter, r *http.Request) {
	if h.draining.Load() {
		fail(w, r, fault.New(fault.Draining, "server is stopping"))
		return
	}
	if err := h.pulse.Err(); err != nil {
		fail(w, r, err)
		return
	}
	w.Header()["Content-Type"] = textType
	fmt.Fprintln(w, "ok")
}

// withDeadline bounds a request that reaches the store.
func withDeadline(r *http.Request) (context.Context, context.CancelFunc) {
	return context.WithTimeout(r.Context(), rpc.DefaultDeadline)
}

// The limits of a connection. The library's own have no end.
const (
	headerTime = 5 * time.Second
	readTime   = 30 * time.Second
	writeTime  = 60 * time.Second
	idleTime   = 2 * time.Minute
	maxHeaders = 16 << 10
)

// NewServer makes the HTTP server of a handler; call Serve with a listener.
func NewServer(h *Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: headerTime, ReadTimeout: readTime, WriteTimeout: writeTime, IdleTimeout: idleTime,
		MaxHeaderBytes: maxHeaders, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
}
