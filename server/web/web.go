// Package web serves pages for people: the library, torque tables, records. The
// pages are plain HTML without scripts; they print.
package web

import (
	"bytes"
	"cmp"
	"context"
	"embed"
	"html/template"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/specdata/narration"
	"proofload/specdata/wording"
)

//go:embed pages/*.html pages/*.js pages/style.css
var files embed.FS

// Pages answers every address that is for people.
type Pages struct {
	catalog *catalog.Catalog
	log     *slog.Logger
	pages   *template.Template
	style   []byte
	mux     *http.ServeMux
	// corrections is the service that the pages of the desk read from.
	corrections pb.CorrectionsServer
	checker     Checker
	jobs        pb.JobsServer
	gate        Gate
	dates       func(ctx context.Context, id string) ([]byte, error)
	// grpc is where gRPC listens, "" where nobody said; grpcTLS says that it is encrypted.
	grpc    string
	grpcTLS bool
}

// New makes the pages of a catalog. The error says that a page of the program is
// malformed.
func New(c *catalog.Catalog, log *slog.Logger) (*Pages, error) {
	t, err := template.New("").Funcs(template.FuncMap{
		"collection": func(name string) string { c, _, _ := strings.Cut(name, "/"); return c },
		"title":      func(s string) string { return strings.ToUpper(s[:min(1, len(s))]) + s[min(1, len(s)):] },
		"spaced":     func(s string) string { return strings.ReplaceAll(s, "_", " ") },
		"stages":     bigStages,
		"built":      func(v *pb.Vehicle) string { return cmp.Or(v.GetBuilt().GetFrom(), v.GetBuilt().GetTo(), "2019-W26") },
		"staged":     func(s []*pb.Stage) *pb.Tightening { return &pb.Tightening{Stages: s} },
		"last":       func(e []*pb.JobEvent) int { return len(e) - 1 },
		"id":         func(name string) string { _, id, _ := strings.Cut(name, "/"); return id },
		"day":        func(t *timestamppb.Timestamp) string { return t.AsTime().UTC().Format("2006-01-02 15:04") },
		"clock":      narration.Clock,
		"join":       strings.Join,
		"plus":       func(a, b int) int { return a + b },
		"tie":        tie,
		"size":       wording.Size,
		"words":      func(id string) string { return strings.ReplaceAll(id, "-", " ") },
		"without":    func(text, title string) string { return strings.TrimPrefix(strings.TrimPrefix(text, title), ", ") },
	}).ParseFS(files, "pages/*.html")
	if err != nil {
		return nil, err
	}
	style, err := files.ReadFile("pages/style.css")
	if err != nil {
		return nil, err
	}
	p := &Pages{catalog: c, log: log, pages: t, style: style, mux: http.NewServeMux()}
	for _, a := range p.addresses() {
		p.mux.HandleFunc(a.pattern, a.page)
	}
	return p, nil
}

// ServeHTTP implements http.Handler.
func (p *Pages) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.mux.ServeHTTP(w, r) }

// policy lets a page load its own style sheet and scripts and talk to its own server,
// and nothing else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// deadline bounds the reading a page does.
const deadline = 10 * time.Second

// about says for which vehicles a page holds, and for which moment. Every page says
// it under its header; only an error may be about nothing.
type about struct {
	// For are the vehicles with their options, builds and sides, one clause a line.
	For []clause
	// Not says for which they do not.
	Not string
	// Yours words the vehicle that the reader asks for, which they hold for; "" where none is.
	Yours string
	// Position is the position that was read, 0 where the page is of none.
	Position int64
	// When words the moment where it is neither the newest nor past.
	When string
	// Old is set where that is not the newest.
	Old *old
}

// clause is one line of for whom a page holds, and where it leads.
type clause struct{ Text, Address string }

// everyVehicle is what pages about the whole library are for.
func everyVehicle(position int64) about {
	return about{For: []clause{{Text: "the whole library, every vehicle"}}, Position: position}
}

// applies is what the page of a record is for.
func applies(as []*pb.Applies, whom *pb.ForWhom, position int64, o *old) about {
	a := about{Not: whom.GetNotText(), Position: position, Old: o}
	for _, one := range as {
		a.For = append(a.For, clause{one.Text, "/vehicles/" + one.Vehicle})
	}
	if len(a.For) == 0 {
		a.For = []clause{{Text: "no vehicle: the record does not say for which it is"}}
	}
	return a
}

// sides adds what a procedure that is done on sides holds for, and the side chosen.
func (a *about) sides(done, chosen string) {
	text := map[string]string{"both": "both sides", "one": "either side"}[done]
	switch chosen {
	case "left":
		text, a.Not = "left side", "the right side; "+a.Not
	case "right":
		text, a.Not = "right side", "the left side; "+a.Not
	}
	for i := range a.For {
		if text != "" {
			a.For[i].Text += ", " + text
		}
	}
}

// show writes a page.
func (p *Pages) show(w http.ResponseWriter, r *http.Request, status int, page string, a about, data map[string]any) {
	var b bytes.Buffer
	data["About"] = a
	if a.Old != nil { // links of an old page lead to the same moment
		data["At"] = "?at=position:" + a.Old.Position
	}
	if err := p.pages.ExecuteTemplate(&b, page, data); err != nil {
		p.log.LogAttrs(r.Context(), slog.LevelError, "page", slog.String("page", page), slog.String("error", err.Error()))
		http.Error(w, "page could not be made", http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", policy)
	h.Set("Cache-Control", "private, no-cache")
	h.Set("Vary", "Accept")
	h.Set("Content-Length", strconv.Itoa(b.Len()))
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		w.Write(b.Bytes())
	}
}

// Fail shows an error as a page.
func (p *Pages) Fail(w http.ResponseWriter, r *http.Request, err error) {
	e := fault.From(err)
	row := e.Kind.Row()
	if row.Status >= 500 {
		p.log.LogAttrs(r.Context(), slog.LevelError, "page", slog.String("path", r.URL.Path), slog.String("error", err.Error()), slog.Any("cause", e.Unwrap()))
	}
	p.show(w, r, row.Status, "error.html", about{}, map[string]any{"Title": row.Title, "Error": e, "Says": sentence(e.Message), "Mend": mends[e.Kind]})
}

// mends are what a person at a browser can do about an error. The table of errors
// words it for programs; what is not here needs no more than the message.
var mends = map[fault.Kind]string{
	fault.RouteNotFound:        "Go to the start page, or search.",
	fault.RecordNotFound:       "Search for it: the title, the place and the vehicle are enough.",
	fault.RecordWithdrawn:      "Do not use its value for new work. Its history says why it was withdrawn.",
	fault.MomentNotFound:       "Choose one of the releases, or leave the moment out to see what holds now.",
	fault.PositionNotPublished: "Leave the moment out to see what holds now.",
	fault.PageTokenInvalid:     "Go back to the first page of the list.",
	fault.CorrectionNotFound:   "Look for it among the corrections.",
	fault.Draining:             "The server is being restarted. Load the page again in a moment.",
	fault.DeadlineExceeded:     "Load the page again.",
	fault.Internal:             "Load the page again. If it stays so, tell who runs this server, with the time.",
}

// Wanted reports whether a request comes from a browser that wants a page.
func Wanted(r *http.Request) bool {
	for _, part := range strings.Split(r.Header.Get("Accept"), ",") {
		if media, _, _ := strings.Cut(strings.TrimSpace(part), ";"); media == "text/html" {
			return true
		}
	}
	return false
}

func (p *Pages) css(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "private, max-age=600")
	w.Write(p.style)
}

// tie keeps a number and its unit on one line.
func tie(text string) string { return wording.Tie(text) }
