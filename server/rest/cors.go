package rest

import (
	"net/http"

	"github.com/rs/cors"
)

// crossOrigin lets the pages of other origins that the operator listed read and write
// with a token of their own. A browser sends them no cookie of this server and no
// password, so what a person signed in to here stays here.
func crossOrigin(next http.Handler, origins []string, from func(*http.Request) error) http.Handler {
	if len(origins) == 0 {
		return next
	}
	c := cors.New(cors.Options{
		AllowedOrigins: origins,
		AllowedMethods: []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete},
		AllowedHeaders: []string{
			"Accept", "Authorization", "Content-Type", "If-Match", "If-None-Match", "Idempotency-Key", "Last-Event-ID", reasonHeader, epochHeader, requestIDHeader, "Traceparent",
			"Connect-Protocol-Version", "Connect-Timeout-Ms", "Connect-Accept-Encoding", "Connect-Content-Encoding", "Grpc-Timeout", "X-Grpc-Web", "X-User-Agent",
		},
		ExposedHeaders: []string{
			"ETag", "Location", "Link", "Retry-After", positionHeader, epochHeader, requestIDHeader, "WWW-Authenticate",
			"Grpc-Status", "Grpc-Message", "Grpc-Status-Details-Bin",
		},
		MaxAge: 600,
	})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header["Origin"] == nil {
			next.ServeHTTP(w, r)
			return
		}
		if err := from(r); err != nil { // a name that is not ours answers no preflight
			next.ServeHTTP(w, r)
			return
		}
		c.Handler(next).ServeHTTP(w, r)
	})
}

// namedHere returns an error where a request was sent to a name that is not this server's.
func (h *Handler) namedHere(r *http.Request) error {
	_, err := h.gate.OriginOf(r.RemoteAddr, r.Host, func(field string) []string { return r.Header[field] })
	return err
}
