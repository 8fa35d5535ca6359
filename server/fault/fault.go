// Package fault holds the one error type of the service and the one table that
// says how each kind of error looks over gRPC and over HTTP.
package fault

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"proofload/server/store"
)

// Domain is the domain of every google.rpc.ErrorInfo.
const Domain = "proofload"

// Error is what goes wrong with a request.
type Error struct {
	Kind Kind
	// Message says what was found, what is allowed, how to mend; lower case.
	Message string
	// Metadata repeats every variable of the message for programs.
	Metadata map[string]string
	// Violations are the bad fields, one entry each.
	Violations []Violation
	// Clashes are the fields of a FieldsClash, both sides of each.
	Clashes []Clash
	// RetryAfter is how long to wait before the same request may succeed; 0 means it is not known to.
	RetryAfter time.Duration
	// Allow lists the methods of a MethodNotAllowed, Accept the media types of a
	// NotAcceptable or UnsupportedMedia.
	Allow []string

	cause error
}

// Violation is one bad field of a request, or of a document in it.
type Violation struct {
	// Field is a field name of the request, or a JSON pointer in the document.
	Field       string `json:"field"`
	Description string `json:"description"`
}

// Clash is a field of a record that two sides changed to different values since
// the base they share. The values are JSON, long ones cut short, "" where there is none.
type Clash struct {
	Record string `json:"record"`
	// Pointer is the deepest JSON pointer that both touched.
	Pointer  string `json:"pointer"`
	Base     string `json:"base,omitempty"`
	Current  string `json:"current,omitempty"`
	Proposed string `json:"proposed,omitempty"`
}

// New makes an error of a kind.
func New(k Kind, format string, args ...any) *Error {
	return &Error{Kind: k, Message: fmt.Sprintf(format, args...)}
}

// Field makes an InvalidArgument about one field of the request.
func Field(field, format string, args ...any) *Error {
	e := New(InvalidArgument, format, args...)
	e.Violations = []Violation{{field, e.Message}}
	return e.With("field", field)
}

// Restored is the error of a caller whose position is of another epoch than the store.
func Restored(e store.Epoch) *Error {
	return New(StoreRestored, "store is of epoch %d: it was restored to position %d, and what was published behind it before is not its history any more; read again from position %d on", e.Number, e.Position, e.Position).
		With("epoch", strconv.FormatInt(e.Number, 10)).With("position", strconv.FormatInt(e.Position, 10))
}

// With adds a variable of the message to the metadata.
func (e *Error) With(key, value string) *Error {
	if e.Metadata == nil {
		e.Metadata = map[string]string{}
	}
	e.Metadata[key] = value
	return e
}

// Because keeps what caused the error for the log; it is never shown to a caller.
func (e *Error) Because(err error) *Error {
	e.cause = err
	return e
}

// Error implements error.
func (e *Error) Error() string { return e.Message }

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.cause }

// From turns any error into one that may be shown. What it does not know becomes
// Internal, whose message says nothing of the inside.
func From(err error) *Error {
	var e *Error
	if errors.As(err, &e) {
		return e
	}
	if s, ok := fromStatus(err); ok {
		return s
	}
	for _, m := range []struct {
		target error
		kind   Kind
	}{
		{store.ErrNotFound, RecordNotFound},
		{store.ErrConflict, RecordMoved},
		{store.ErrFuture, PositionNotPublished},
		{store.ErrFull, StorageFull},
		{store.ErrWentBack, StoreWentBack},
		{store.ErrCorrupt, StoreCorrupt},
		{store.ErrReadOnly, StoreReadOnly},
		{store.ErrUnknown, OutcomeUnknown},
		{store.ErrInvalid, InvalidArgument},
		{store.ErrClosed, Draining},
	} {
		if errors.Is(err, m.target) {
			return New(m.kind, "%v", err).Because(err)
		}
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return New(DeadlineExceeded, "request took longer than its deadline; ask for less or allow more time").Because(err)
	case errors.Is(err, context.Canceled):
		return New(Cancelled, "request was cancelled by the caller").Because(err)
	}
	return New(Internal, "request failed inside the server; quote the request id when asking for help").Because(err)
}

// Equal reports whether two errors would look the same to a caller.
func (e *Error) Equal(o *Error) bool {
	return e.Kind == o.Kind && e.Message == o.Message && maps.Equal(e.Metadata, o.Metadata) &&
		slices.Equal(e.Violations, o.Violations) && slices.Equal(e.Clashes, o.Clashes)
}
