package rest

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/feed"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
	"proofload/server/web"
	"proofload/specdata"
)

// world is a store with the handler on it.
type world struct {
	store   store.Store
	feed    *feed.Feed
	handler *Handler
}

func newWorld(t *testing.T, set feed.Options) *world {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "rest.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	cat, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	w := &world{store: s, feed: feed.New(s, set, log)}
	t.Cleanup(w.feed.Close)
	pages, err := web.New(cat, log)
	if err != nil {
		t.Fatal(err)
	}
	gate := access.NewGate(access.NewKeys(s, time.Now), access.Settings{})
	server := rpc.NewServer(rpc.Deps{Catalog: cat, Feed: w.feed, Gate: gate, Log: log})
	if w.handler, err = NewHandler(Deps{Catalog: cat, RPC: server, Gate: gate, Pages: pages, Log: log}); err != nil {
		t.Fatal(err)
	}
	return w
}

// publish publishes n new fasteners at once.
func (w *world) publish(t *testing.T, round, n int) {
	t.Helper()
	p := store.Publication{Authors: []string{"ada"}, Reviewer: "ben", Reason: "measured again", Time: storetest.Epoch}
	for i := range n {
		f := storetest.Fastener(fmt.Sprintf("b-%d-%d", round, i), "Bolt", "rear hub", "M12x1.5", specdata.JointClamp, 80, "quill-chassis", "quill-1")
		p.Changes = append(p.Changes, store.Change{Name: f.Name(), Document: storetest.Canonical(t, f)})
	}
	if _, err := w.store.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
}

// message is one server-sent event as a browser would dispatch it.
type message struct {
	event, data, id string
	// comments is how many comments came before it.
	comments int
}

// reader reads server-sent events as the HTML standard (section 9.2.6) says.
type reader struct {
	lines  *bufio.Scanner
	lastID string
}

func newReader(r io.Reader) *reader {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 64<<20)
	return &reader{lines: lines}
}

// next returns the next event; the error is that the stream ended.
func (r *reader) next() (message, error) {
	var m message
	var data []string
	for r.lines.Scan() {
		line := r.lines.Text()
		if line == "" {
			if len(data) == 0 { // nothing is dispatched
				m.event = ""
				continue
			}
			m.data, m.id = strings.Join(data, "\n"), r.lastID
			return m, nil
		}
		field, value, _ := strings.Cut(line, ":")
		value = strings.TrimPrefix(value, " ")
		switch field {
		case "":
			m.comments++
		case "event":
			m.event = value
		case "data":
			data = append(data, value)
		case "id":
			r.lastID = value
		}
	}
	if err := r.lines.Err(); err != nil {
		return m, err
	}
	return m, io.EOF
}

func (m message) response(t *testing.T) *pb.WatchLogResponse {
	t.Helper()
	var out pb.WatchLogResponse
	if err := protojson.Unmarshal([]byte(m.data), &out); err != nil {
		t.Fatalf("event %q: %v", m.data, err)
	}
	return &out
}

// open begins a watch and checks how it is answered.
func open(t *testing.T, c *http.Client, r *http.Request) (*reader, func()) {
	t.Helper()
	answer, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusOK || answer.Header.Get("Content-Type") != "text/event-stream" || answer.Header.Get("Cache-Control") != "no-store" {
		b, _ := io.ReadAll(answer.Body)
		t.Fatalf("%d %v %s", answer.StatusCode, answer.Header, b)
	}
	return newReader(answer.Body), func() { answer.Body.Close() }
}

func request(t *testing.T, method, address, body string, header ...string) *http.Request {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	t.Cleanup(cancel)
	r, err := http.NewRequestWithContext(ctx, method, address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	return r
}

// A stream outlives the limits of requests, over HTTP/1.1 and HTTP/2, goes on where
// it broke off, and ends with the reason when the server stops.
func TestEventStream(t *testing.T) {
	for _, protocol := range []string{"HTTP/1.1", "HTTP/2.0"} {
		t.Run(protocol, func(t *testing.T) {
			w := newWorld(t, feed.Options{Heartbeat: 60 * time.Millisecond})
			server := httptest.NewUnstartedServer(nil)
			server.Config = NewServer(w.handler, slog.New(slog.NewTextHandler(io.Discard, nil)))
			server.Config.ReadTimeout, server.Config.WriteTimeout = 150*time.Millisecond, 150*time.Millisecond
			server.EnableHTTP2 = protocol == "HTTP/2.0"
			server.StartTLS()
			defer server.Close()
			w.publish(t, 1, 2)
			w.publish(t, 2, 1)
			address := server.URL + "/v1/log:watch"
			events, closeStream := open(t, server.Client(), request(t, "GET", address+"?after=0&names=fasteners/b-1-1&names=fasteners/b-3-0", ""))
			first, err := events.next()
			for err == nil && first.id == "0" { // a heartbeat, where the machine is busy
				first, err = events.next()
			}
			if err != nil || first.event != "publication" || first.id != "1" {
				t.Fatalf("first event is %+v, %v", first, err)
			}
			if e := first.response(t); e.Position != 1 || e.Newest != 2 || len(e.Entries) != 1 || e.Entries[0].Name != "fasteners/b-1-1" {
				t.Errorf("first event says %v", e)
			}
			if m, err := events.next(); err != nil || m.event != "progress" || m.id != "2" {
				t.Errorf("second event is %+v, %v", m, err)
			}
			time.Sleep(500 * time.Millisecond) // longer than the limits, several heartbeats
			w.publish(t, 3, 1)
			m, err := events.next()
			if err != nil || m.event != "publication" || m.id != "3" || m.comments < 3 {
				t.Fatalf("after a pause: %+v, %v; want an event behind heartbeats", m, err)
			}
			closeStream()
			w.publish(t, 4, 1)

			// What a browser sends when it connects again: the same address, and where it was.
			events, closeStream = open(t, server.Client(), request(t, "GET", address+"?after=0", "", "Last-Event-ID", m.id, "Accept", "text/event-stream"))
			defer closeStream()
			if m, err = events.next(); err != nil || m.event != "publication" || m.id != "4" {
				t.Fatalf("after connecting again: %+v, %v", m, err)
			}
			w.feed.Drain()
			for m.event != "end" {
				if m, err = events.next(); err != nil {
					t.Fatal(err)
				}
			}
			var p fault.Problem
			if err := json.Unmarshal([]byte(m.data), &p); err != nil || p.Reason != "DRAINING" || p.Metadata["resume_after"] != "4" || m.id != "4" || p.Status != http.StatusServiceUnavailable {
				t.Errorf("the end says %+v, %v", m, err)
			}
			if m, err := events.next(); err == nil {
				t.Errorf("after the end comes %+v", m)
			}
		})
	}
}

// Events of a large publication have no id but for the last, so that anyone who breaks
// off inside is given all of it again.
func TestEventsOfOnePublication(t *testing.T) {
	w := newWorld(t, feed.Options{})
	server := httptest.NewServer(w.handler)
	defer server.Close()
	w.publish(t, 1, 1)
	w.publish(t, 2, 600)
	events, closeStream := open(t, server.Client(), request(t, "POST", server.URL+"/v1/log:watch", `{"after":"1","documents":true}`, "Content-Type", "application/json"))
	defer closeStream()
	n := 0
	for {
		m, err := events.next()
		if err != nil {
			t.Fatal(err)
		}
		e := m.response(t)
		n += len(e.Entries)
		if e.Position != 2 || e.Continues != (m.id == "") || len(e.Entries[0].Document) == 0 {
			t.Fatalf("event of position %d with id %q continues: %t", e.Position, m.id, e.Continues)
		}
		if !e.Continues {
			break
		}
	}
	if n != 600 {
		t.Errorf("%d entries, want 600", n)
	}
}

// sluggish is an answer whose client takes one write late.
type sluggish struct {
	httptest.ResponseRecorder
	writes, late int
	pause        time.Duration
}

func (s *sluggish) SetReadDeadline(time.Time) error  { return nil }
func (s *sluggish) SetWriteDeadline(time.Time) error { return nil }

// Write implements http.ResponseWriter.
func (s *sluggish) Write(b []byte) (int, error) {
	if s.writes++; s.writes == s.late {
		time.Sleep(s.pause)
	}
	return s.ResponseRecorder.Write(b)
}

// A client that takes an event late, but takes it, is cut with its resume point, which
// is behind that event.
func TestLateReader(t *testing.T) {
	w := newWorld(t, feed.Options{})
	w.handler.slowAfter = 20 * time.Millisecond
	for round := range 6 {
		w.publish(t, round, 1)
	}
	answer := &sluggish{ResponseRecorder: *httptest.NewRecorder(), late: 4, pause: 30 * time.Millisecond} // the third event, behind "retry"
	r := httptest.NewRequest("GET", "http://localhost/v1/log:watch?after=0", nil)
	r.RemoteAddr = "127.0.0.1:1"
	w.handler.ServeHTTP(answer, r)
	events := newReader(answer.Body)
	for want := 1; want <= 3; want++ {
		if m, err := events.next(); err != nil || m.event != "publication" || m.id != strconv.Itoa(want) {
			t.Fatalf("event %d is %+v, %v", want, m, err)
		}
	}
	m, err := events.next()
	var p fault.Problem
	if err != nil || m.event != "end" || json.Unmarshal([]byte(m.data), &p) != nil || p.Reason != "WATCHER_SLOW" || p.Metadata["resume_after"] != "3" || p.Status != http.StatusTooManyRequests {
		t.Errorf("the stream ends with %+v, %v", m, err)
	}
	if m, err := events.next(); err == nil {
		t.Errorf("after the end comes %+v", m)
	}
}

// A client that takes nothing is cut off, and its place is free for another.
func TestDeadReader(t *testing.T) {
	w := newWorld(t, feed.Options{Watchers: 1})
	w.handler.slowAfter = 100 * time.Millisecond
	for round := range 40 {
		w.publish(t, round, 200)
	}
	server := httptest.NewServer(w.handler)
	defer server.Close()
	dead, err := net.Dial("tcp", server.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer dead.Close()
	fmt.Fprintf(dead, "GET /v1/log:watch?after=0&documents=true HTTP/1.1\r\nHost: localhost\r\n\r\n")
	if _, err := dead.Read(make([]byte, 12)); err != nil { // it is served
		t.Fatal(err)
	}
	refused := false
	for begin := time.Now(); time.Since(begin) < 30*time.Second; time.Sleep(20 * time.Millisecond) {
		answer, err := server.Client().Do(request(t, "GET", server.URL+"/v1/log:watch", ""))
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		switch answer.StatusCode {
		case http.StatusTooManyRequests:
			refused = refused || answer.Header.Get("Retry-After") != ""
		case http.StatusOK:
			if !refused {
				t.Error("a second watcher of one was let in at once")
			}
			return
		}
	}
	t.Error("the place of a reader that took nothing is not free after 30 s")
}

func TestWatchRefusals(t *testing.T) {
	w := newWorld(t, feed.Options{Replay: 2})
	for round := range 5 {
		w.publish(t, round, 1)
	}
	for _, c := range []struct {
		method, path, body string
		header             []string
		status             int
		reason             string
		key, value         string
	}{
		{"GET", "?after=9", "", nil, 400, "POSITION_NOT_PUBLISHED", "newest", "5"},
		{"GET", "?after=2", "", nil, 410, "POSITION_TOO_OLD", "oldest", "3"},
		{"GET", "?after=5", "", []string{"Last-Event-ID", "0"}, 410, "POSITION_TOO_OLD", "after", "0"},
		{"GET", "", "", []string{"Last-Event-ID", "04"}, 400, "INVALID_ARGUMENT", "field", "Last-Event-ID"},
		{"GET", "", "", []string{"Last-Event-ID", "x"}, 400, "INVALID_ARGUMENT", "field", "Last-Event-ID"},
		{"GET", "?after=x", "", nil, 400, "INVALID_ARGUMENT", "field", "after"},
		{"GET", "?moves=yes", "", nil, 400, "INVALID_ARGUMENT", "field", "moves"},
		{"GET", "?kinds=nut", "", nil, 400, "INVALID_ARGUMENT", "field", "kinds"},
		{"GET", "?position=1", "", nil, 400, "INVALID_ARGUMENT", "field", "position"},
		{"GET", "", "", []string{"Accept", "application/json"}, 406, "NOT_ACCEPTABLE", "available", "text/event-stream"},
		{"POST", "", `{"after":"x"}`, []string{"Content-Type", "application/json"}, 400, "REQUEST_MALFORMED", "", ""},
		{"POST", "", `after=1`, []string{"Content-Type", "text/plain"}, 415, "UNSUPPORTED_MEDIA", "", ""},
		{"DELETE", "", "", nil, 405, "METHOD_NOT_ALLOWED", "", ""},
	} {
		r := httptest.NewRequest(c.method, "http://localhost/v1/log:watch"+c.path, strings.NewReader(c.body))
		r.RemoteAddr = "127.0.0.1:1"
		for i := 0; i < len(c.header); i += 2 {
			r.Header.Set(c.header[i], c.header[i+1])
		}
		answer := httptest.NewRecorder()
		w.handler.ServeHTTP(answer, r)
		var p fault.Problem
		if err := json.Unmarshal(answer.Body.Bytes(), &p); err != nil || answer.Code != c.status || p.Reason != c.reason || p.Metadata[c.key] != c.value {
			t.Errorf("%s %s %v: got %d %s, want %d %s with %s %s", c.method, c.path, c.header, answer.Code, answer.Body, c.status, c.reason, c.key, c.value)
		}
	}
}

// Whatever a client sends as the id of its last event is refused as its mistake, or is
// a position that is written the same way.
func FuzzLastEventID(f *testing.F) {
	for _, s := range []string{"", "0", "12", "-1", "+1", "01", "9223372036854775807", "9223372036854775808", "1e3", " 1", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		n, err := (&Handler{}).lastEventID([]string{s})
		switch {
		case err != nil:
			if fault.From(err).Kind != fault.InvalidArgument {
				t.Errorf("%q: %v", s, err)
			}
		case n == nil:
			if s != "" {
				t.Errorf("%q is taken for none", s)
			}
		case *n < 0 || strconv.FormatInt(*n, 10) != s:
			t.Errorf("%q is read as %d", s, *n)
		}
	})
}

func FuzzWatchQuery(f *testing.F) {
	for _, s := range []string{"", "after=3&kinds=fastener&kinds=source&moves=true", "after=&documents=false", "names=%ff", "after=1e9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		rt := params{"after": wholeParam, "kinds": textsParam, "names": textsParam, "vehicle": textParam, "source": textParam, "documents": boolParam, "moves": boolParam}
		q, err := queryOf(&http.Request{URL: &url.URL{RawQuery: s}}, rt)
		if err != nil {
			if e := fault.From(err); e.Kind != fault.InvalidArgument && e.Kind != fault.RequestMalformed {
				t.Errorf("%q: %v", s, err)
			}
			return
		}
		in := watchQuery(q)
		if (in.After != nil) != (q.Get("after") != "") || in.Moves != (q.Get("moves") == "true") || len(in.Kinds) != len(q.Values["kinds"]) {
			t.Errorf("%q is read as %v", s, in)
		}
	})
}
