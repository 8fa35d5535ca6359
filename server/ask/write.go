package ask

import (
	"regexp"
	"strconv"
	"strings"

	"proofload/server/fault"
)

// requestIDForm leaves out space and slash: the store keeps answers under
// person/id.
var requestIDForm = regexp.MustCompile(`^[!-.0-~]{1,100}$`)

// RequestID reads the request id of a message and of the header beside it, "" where
// either has none.
func RequestID(message, header string) (string, error) {
	switch {
	case message != "" && header != "" && message != header:
		return "", fault.Field("request_id", "request_id %q differs from the Idempotency-Key %q; give one", Clip(message), Clip(header))
	case message == "":
		message = header
	}
	if message != "" && !requestIDForm.MatchString(message) {
		return "", fault.Field("request_id", "request_id %q is not 1 to 100 printable ASCII characters without space and slash; a UUID will do", Clip(message))
	}
	return message, nil
}

// Etag reads the etag of something that has versions: its version in quotes. The
// error is EtagRequired where it is missing.
func Etag(text string) (version int64, err error) {
	if text == "" {
		return 0, fault.New(fault.EtagRequired, "etag is missing; send that of the correction you looked at, so that nothing else is changed").With("field", "etag")
	}
	inner, ok := strings.CutPrefix(text, `"`)
	inner, closed := strings.CutSuffix(inner, `"`)
	version, err = strconv.ParseInt(inner, 10, 64)
	if !ok || !closed || err != nil || version < 1 || EtagOf(version) != text {
		return 0, fault.Field("etag", "etag %q is not one this server gave; send it as it was, quotes included", Clip(text))
	}
	return version, nil
}

// EtagOf returns the etag of a version.
func EtagOf(version int64) string { return `"` + strconv.FormatInt(version, 10) + `"` }

// ContentHash reads the hash of the content that a decision is about.
func ContentHash(text string) (string, error) {
	if text == "" {
		return "", fault.Field("content_hash", "content_hash is missing; send that of the correction you looked at, so that nothing else is decided on")
	}
	return text, nil
}
