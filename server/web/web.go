// Package web serves pages for people: the library, torque tables, records. The
// pages are plain HTML without scripts; they print.
package web

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"fmt"
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
	"proofload/server/view"
	"proofload/specdata"
)

//go:embed pages/*.html pages/style.css
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
}

// New makes the pages of a catalog. The error says that a page of the program is
// malformed.
func New(c *catalog.Catalog, log *slog.Logger) (*Pages, error) {
	t, err := template.New("").Funcs(template.FuncMap{
		"collection": func(name string) string { c, _, _ := strings.Cut(name, "/"); return c },
		"title":      func(s string) string { return strings.ToUpper(s[:min(1, len(s))]) + s[min(1, len(s)):] },
		"spaced":     func(s string) string { return strings.ReplaceAll(s, "_", " ") },
		"digits":     digits,
		"id":         func(name string) string { _, id, _ := strings.Cut(name, "/"); return id },
		"day":        func(t *timestamppb.Timestamp) string { return t.AsTime().UTC().Format("2006-01-02 15:04") },
		"tie":        tie,
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
	p.mux.HandleFunc("GET /{$}", p.home)
	p.mux.HandleFunc("GET /style.css", p.css)
	p.mux.HandleFunc("GET /search", p.search)
	p.mux.HandleFunc("GET /vehicles/{id}", p.vehicle)
	p.historyPages()
	for _, k := range specdata.Kinds {
		if k != specdata.KindVehicle {
			p.mux.HandleFunc("GET /"+k.Collection()+"/{id}", p.record(k))
		}
	}
	return p, nil
}

// ServeHTTP implements http.Handler.
func (p *Pages) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.mux.ServeHTTP(w, r) }

// policy lets a page load its style sheet and nothing else.
const policy = "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// deadline bounds the reading a page does.
const deadline = 10 * time.Second

// show writes a page.
func (p *Pages) show(w http.ResponseWriter, r *http.Request, status int, page string, data any) {
	var b bytes.Buffer
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
	p.show(w, r, row.Status, "error.html", map[string]any{"Title": row.Title, "Error": e, "Row": row})
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

// links is what GET / tells a program.
type links struct {
	Service    string            `json:"service"`
	Position   string            `json:"position"`
	Caution    string            `json:"caution"`
	Links      map[string]string `json:"links"`
	Vehicles   []string          `json:"vehicles"`
	TorqueOf   string            `json:"torque_table"`
	LintOf     string            `json:"lint"`
	ResolveOf  string            `json:"resolve"`
	vehicles   []*pb.Vehicle
	more       bool
	demoNotice string
}

// homeVehicles is how many vehicles the first page lists.
const homeVehicles = 200

func (p *Pages) home(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	l, err := p.links(ctx, r)
	accept := r.Header.Get("Accept")
	switch {
	case Wanted(r) && err != nil:
		p.Fail(w, r, err)
	case Wanted(r):
		p.show(w, r, http.StatusOK, "home.html", map[string]any{
			"Title": "Library", "Links": l, "Vehicles": l.vehicles, "More": l.more, "Demo": l.demoNotice, "Caution": view.Caution, "Host": r.Host,
		})
	case err != nil:
		fault.From(err).Write(w, "")
	case strings.Contains(accept, "application/json"):
		body, err := json.MarshalIndent(l, "", " ")
		if err != nil {
			fault.From(err).Write(w, "")
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Vary", "Accept")
		w.Write(append(body, '\n'))
	default:
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.Header().Set("Vary", "Accept")
		w.Write(l.text(r.Host))
	}
}

func (p *Pages) links(ctx context.Context, r *http.Request) (*links, error) {
	views, next, position, err := p.catalog.List(ctx, kindQuery(specdata.KindVehicle), catalog.Page{Size: homeVehicles}, catalog.Moment{})
	if err != nil {
		return nil, err
	}
	l := &links{
		Service: "proofload", Position: strconv.FormatInt(position, 10), Caution: view.Caution, more: next != "",
		Links: map[string]string{
			"vehicles": "/v1/vehicles", "fasteners": "/v1/fasteners", "assemblies": "/v1/assemblies", "procedures": "/v1/procedures",
			"sources": "/v1/sources", "search": "/v1/search?query=", "rules": "/v1/rules", "corrections": "/v1/corrections", "log": "/v1/log", "watch": "/v1/log:watch", "releases": "/v1/releases", "diff": "/v1/diff?from=", "service-desc": "/openapi.json", "health": "/healthz", "checkpoint": "/v1/checkpoints/newest", "key": "/v1/keys/ledger",
		},
		TorqueOf: "/v1/vehicles/{id}/fasteners", LintOf: "/v1/documents:lint", ResolveOf: "/v1/fasteners:resolve", Vehicles: []string{},
	}
	for _, v := range views {
		m := v.Message.(*pb.Vehicle)
		l.vehicles = append(l.vehicles, m)
		l.Vehicles = append(l.Vehicles, m.Name)
		if m.Notice.GetDemo() {
			l.demoNotice = m.Notice.DemoText
		}
	}
	return l, nil
}

// text tells a terminal what there is and what to type next.
func (l *links) text(host string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "proofload: fastening data for workshops, at position %s\n", l.Position)
	if l.demoNotice != "" {
		fmt.Fprintf(&b, "%s\n", l.demoNotice)
	}
	b.WriteString("\n")
	for _, v := range l.vehicles {
		fmt.Fprintf(&b, "  %-20s %s, %s\n", v.Id, v.Title, v.Built.GetText())
	}
	example := "ID"
	if len(l.vehicles) > 0 {
		example = l.vehicles[0].Id
	}
	fmt.Fprintf(&b, `
torque table   curl -H 'Accept: text/plain' http://%[1]s/v1/vehicles/%[2]s/fasteners
one record     curl http://%[1]s/v1/vehicles/%[2]s
search         curl 'http://%[1]s/v1/search?query=hub+nut'
check a file   curl --data-binary @FILE.yaml -H 'Content-Type: application/yaml' http://%[1]s/v1/documents:lint
everything     http://%[1]s/openapi.json, or this address in a browser

%[3]s
`, host, example, l.Caution)
	return b.Bytes()
}

// tie keeps a number and its unit on one line.
func tie(text string) string {
	return strings.NewReplacer(" N·m", "\u00a0N·m", " lbf·", "\u00a0lbf·").Replace(text)
}

// digits gives the number and the unit of a torque apart, for large print.
func digits(text string) [2]string {
	number, unit, _ := strings.Cut(text, " ")
	return [2]string{number, unit}
}
