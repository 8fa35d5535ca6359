package rest

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/feed"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/view"
)

// watch follows the log as server-sent events (HTML standard, section 9.2).
//
// The id of an event is its position, so that what an EventSource sends back as
// Last-Event-ID resumes the watch. An event of a publication that goes on in the next
// has no id: it comes again whole. The last event before the server ends a stream is
// "end", with the problem that says why.
func (h *Handler) watch(rt route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if accepts(r, "text/event-stream") == 0 {
			fail(w, r, notAcceptable("text/event-stream"))
			return
		}
		in, err := h.watchRequest(w, r, rt)
		if err != nil {
			fail(w, r, err)
			return
		}
		watcher, err := h.rpc.History.Watch(r.Context(), in)
		if err != nil {
			h.fail(w, r, err)
			return
		}
		defer watcher.Close()
		header := w.Header()
		header.Set("Content-Type", "text/event-stream")
		header.Set("Cache-Control", "no-store")
		header.Set("X-Accel-Buffering", "no") // proxies that heed it pass events on at once
		header[positionHeader] = []string{strconv.FormatInt(watcher.Resume(), 10)}
		if r.Method == http.MethodHead {
			return
		}
		s := &eventStream{w: w, control: http.NewResponseController(w), slow: h.slowAfter, reached: watcher.Resume(), epoch: h.epoch}
		// The connection's limit on reading is for requests; it would end this one.
		if err := s.control.SetReadDeadline(time.Time{}); err != nil {
			h.fail(w, r, err)
			return
		}
		err = s.run(r.Context(), watcher, func(ctx context.Context, e *feed.Event) ([]byte, error) {
			return watcher.Encode(ctx, e, "json", func(m *pb.WatchLogResponse) ([]byte, error) { return view.EncodeJSON(m) })
		})
		if e := fault.From(err); e.Kind.Row().Status >= 500 && e.Kind != fault.Draining && !s.gone && r.Context().Err() == nil {
			h.log.LogAttrs(r.Context(), slog.LevelError, "watch", slog.String("reason", string(e.Kind)), slog.String("error", err.Error()), slog.Any("cause", e.Unwrap()))
		}
		s.end(err)
	})
}

// eventStream writes server-sent events.
type eventStream struct {
	w       http.ResponseWriter
	control *http.ResponseController
	// slow is how long a client may take for one event.
	slow time.Duration
	// reached is the position of the last id that was sent.
	reached int64
	epoch   store.Epoch
	// gone says that the client does not take what is sent: it went away.
	gone bool
}

// run sends events until the watch ends; a client that is gone gives its own error.
func (s *eventStream) run(ctx context.Context, watcher *rpc.Watch, encode func(context.Context, *feed.Event) ([]byte, error)) error {
	// A second is how long a browser waits before it connects again.
	if err := s.send([]byte("retry: 1000\n\n")); err != nil {
		return err
	}
	for first := true; ; first = false {
		e, err := watcher.Next(ctx)
		if err != nil {
			return err
		}
		text := []byte(": heartbeat\n\n")
		if first || !e.Progress || e.Position != s.reached {
			data, err := encode(ctx, e)
			if err != nil {
				return err
			}
			text = eventText(e, data, s.epoch)
		}
		begin := time.Now()
		if err := s.send(text); err != nil {
			return err
		}
		if waited := time.Since(begin); waited > s.slow {
			watcher.Took() // late, but it did
			return watcher.Slow(waited)
		}
		if !e.Continues {
			s.reached = e.Position
		}
	}
}

func eventText(e *feed.Event, data []byte, epoch store.Epoch) []byte {
	var b bytes.Buffer
	b.WriteString("event: publication\n")
	if e.Progress {
		b.Reset()
		b.WriteString("event: progress\n")
	}
	if !e.Continues {
		b.WriteString("id: " + epoch.ResumeID(e.Position) + "\n")
	}
	b.WriteString("data: ")
	b.Write(data)
	b.WriteString("\n\n")
	return b.Bytes()
}

// send writes one event. A client that does not take it for twice as long as it may is
// cut off; one that takes it late is told so by run.
func (s *eventStream) send(text []byte) error {
	if err := s.control.SetWriteDeadline(time.Now().Add(2 * s.slow)); err != nil {
		return err
	}
	_, err := s.w.Write(text)
	if err == nil {
		err = s.control.Flush()
	}
	s.gone = err != nil
	return err
}

// end says why the stream ends, where there is still somebody to hear it.
func (s *eventStream) end(err error) {
	e := fault.From(err)
	if e.Kind == fault.Cancelled {
		return
	}
	data, err := json.Marshal(e.Problem(instance()))
	if err != nil {
		return
	}
	// Whoever has gone meanwhile knows where to resume from the last id.
	_ = s.send([]byte("event: end\ndata: " + string(data) + "\n\n"))
}

// watchRequest reads a request for a watch: its query or its body, and where a
// stream broke off.
func (h *Handler) watchRequest(w http.ResponseWriter, r *http.Request, rt route) (*pb.WatchLogRequest, error) {
	in := &pb.WatchLogRequest{}
	q, err := queryOf(r, rt.query)
	if err != nil {
		return nil, err
	}
	if rt.body {
		if err := isJSON(r); err != nil {
			return nil, err
		}
		body, err := read(w, r)
		if err != nil {
			return nil, err
		}
		if err := readJSON(body, in); err != nil {
			return nil, err
		}
	} else {
		in = watchQuery(q)
	}
	after, err := h.lastEventID(r.Header["Last-Event-Id"])
	if after != nil {
		in.After = after
	}
	return in, err
}

// watchQuery reads the query of a watch.
func watchQuery(q query) *pb.WatchLogRequest {
	in := &pb.WatchLogRequest{Kinds: q.Values["kinds"], Names: q.Values["names"], Vehicle: q.Get("vehicle"), Source: q.Get("source"), Documents: q.flag("documents"), Moves: q.flag("moves")}
	if q.Get("after") != "" {
		n := q.whole("after")
		in.After = &n
	}
	return in
}

// lastEventID reads the header with which a client resumes; nil where there is none.
// Browsers leave it out, or empty, where no event had an id yet.
func (h *Handler) lastEventID(values []string) (*int64, error) {
	if len(values) == 0 || len(values) == 1 && values[0] == "" {
		return nil, nil
	}
	if len(values) > 1 {
		return nil, fault.Field("Last-Event-ID", "Last-Event-ID is given %d times; give it once", len(values))
	}
	n, epoch, err := store.ParseResumeID(values[0])
	if err == nil && !h.epoch.Reaches(n, epoch) {
		return nil, fault.Restored(h.epoch)
	}
	if err != nil {
		return nil, fault.Field("Last-Event-ID", "Last-Event-ID %q is not the id of an event of this server; ids are positions, like 12", ask.Clip(values[0]))
	}
	return &n, nil
}
