package rest

import (
	"context"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"proofload/server/access"
)

// counted is a ResponseWriter that knows how it was answered.
type counted struct {
	http.ResponseWriter
	status int
	size   int64
}

// WriteHeader implements http.ResponseWriter.
func (c *counted) WriteHeader(status int) {
	if c.status == 0 && status >= 200 {
		c.status = status
	}
	c.ResponseWriter.WriteHeader(status)
}

// Write implements http.ResponseWriter.
func (c *counted) Write(b []byte) (int, error) {
	if c.status == 0 {
		c.status = http.StatusOK
	}
	n, err := c.ResponseWriter.Write(b)
	c.size += int64(n)
	return n, err
}

// Flush implements http.Flusher, which the library of calls asks for.
func (c *counted) Flush() { _ = http.NewResponseController(c.ResponseWriter).Flush() }

// Unwrap lets http.ResponseController reach the connection.
func (c *counted) Unwrap() http.ResponseWriter { return c.ResponseWriter }

// requestIDHeader is by common practice, no standard; what a caller calls a request
// is in the answer and in the log.
const requestIDHeader = "X-Request-Id"

// requestIDOf returns what the caller calls a request, "" where that is nothing that
// may stand in a log line.
func requestIDOf(r *http.Request) string {
	values := r.Header[requestIDHeader]
	if len(values) != 1 || len(values[0]) > 100 || strings.ContainsFunc(values[0], func(c rune) bool { return c <= ' ' || c > '~' }) {
		return ""
	}
	return values[0]
}

// logged routes a request, counts it and, with --verbose, writes a line of it: never a token, and no query, which
// may hold one that was put there by mistake.
func (h *Handler) logged(w http.ResponseWriter, r *http.Request, from access.Origin) {
	begin := time.Now()
	c := &counted{ResponseWriter: w}
	verbose := h.log.Enabled(r.Context(), slog.LevelDebug)
	problem := ""
	if verbose {
		r = r.WithContext(context.WithValue(access.From(r.Context(), from), instanceKey{}, &problem))
	}
	defer func() {
		h.meter.Request(r.Method, c.status, c.size, time.Since(begin))
		if !verbose {
			return
		}
		payer := access.Payer(r.Context())
		h.log.LogAttrs(r.Context(), slog.LevelDebug, "http", slog.String("method", r.Method), slog.String("path", r.URL.Path), slog.Int("status", c.status),
			slog.Int64("size", c.size), slog.Duration("took", time.Since(begin)), slog.String("caller", payer), slog.String("request", requestIDOf(r)), slog.String("instance", problem))
	}()
	h.route(c, r, from)
}
