package rest

import (
	"net/http"
	"strings"

	"github.com/klauspost/compress/gzhttp"
)

// leastCompressed is the size from which an answer is compressed: a smaller one is one
// packet either way, and a plain read is answered in microseconds.
const leastCompressed = 4 << 10

// gzipSuffix tells the strong validator of a compressed answer from that of the same
// answer as it is (RFC 9110, section 8.8.3.3).
const gzipSuffix = "-gzip"

// compressed compresses the texts that a handler answers for those who take gzip. A
// validator that comes back is read as that of the answer itself. Streams and PDF are
// left as they are.
func compressed(next http.Handler) (http.Handler, error) {
	wrap, err := gzhttp.NewWrapper(gzhttp.MinSize(leastCompressed), gzhttp.SuffixETag(gzipSuffix), gzhttp.ContentTypes([]string{
		"application/json", "application/problem+json", "application/schema+json", "text/html", "text/plain", "text/css", "image/svg+xml",
	}))
	if err != nil {
		return nil, err
	}
	zipped := wrap(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if len(r.Header["Accept-Encoding"]) == 0 || strings.HasSuffix(r.URL.Path, ":watch") || strings.HasPrefix(r.URL.Path, callPrefix) {
			next.ServeHTTP(w, r)
			return
		}
		for _, field := range []string{"If-None-Match", "If-Match"} {
			for i, tag := range r.Header[field] {
				if strings.Contains(tag, gzipSuffix) {
					r.Header[field][i] = strings.ReplaceAll(tag, gzipSuffix+`"`, `"`)
				}
			}
		}
		zipped.ServeHTTP(w, r)
	}), nil
}
