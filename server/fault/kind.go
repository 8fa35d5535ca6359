package fault

import (
	"net/http"

	"google.golang.org/grpc/codes"
)

// Kind is a kind of error. Its text is the reason on both wires: stable for ever.
type Kind string

// The kinds.
const (
	InvalidArgument      Kind = "INVALID_ARGUMENT"
	RequestMalformed     Kind = "REQUEST_MALFORMED"
	DocumentUnreadable   Kind = "DOCUMENT_UNREADABLE"
	PageTokenInvalid     Kind = "PAGE_TOKEN_INVALID"
	LimitSize            Kind = "LIMIT_SIZE"
	LimitRate            Kind = "LIMIT_RATE"
	RecordNotFound       Kind = "RECORD_NOT_FOUND"
	RecordWithdrawn      Kind = "RECORD_WITHDRAWN"
	MomentNotFound       Kind = "MOMENT_NOT_FOUND"
	PositionNotPublished Kind = "POSITION_NOT_PUBLISHED"
	PositionAhead        Kind = "POSITION_AHEAD"
	RecordMoved          Kind = "RECORD_MOVED"
	StorageFull          Kind = "STORAGE_FULL"
	StoreCorrupt         Kind = "STORE_CORRUPT"
	StoreReadOnly        Kind = "STORE_READ_ONLY"
	OutcomeUnknown       Kind = "OUTCOME_UNKNOWN"
	RouteNotFound        Kind = "ROUTE_NOT_FOUND"
	MethodNotAllowed     Kind = "METHOD_NOT_ALLOWED"
	NotAcceptable        Kind = "NOT_ACCEPTABLE"
	UnsupportedMedia     Kind = "UNSUPPORTED_MEDIA"
	HostUnknown          Kind = "HOST_UNKNOWN"
	Draining             Kind = "DRAINING"
	DeadlineExceeded     Kind = "DEADLINE_EXCEEDED"
	Cancelled            Kind = "CANCELLED"
	Internal             Kind = "INTERNAL"
)

// Row is how a kind looks on each wire.
type Row struct {
	Kind   Kind
	Code   codes.Code
	Status int
	// Title is the kind in words, Mend what a caller can do.
	Title, Mend string
}

// Table lists every kind once. A test holds both wires to it.
var Table = []Row{
	{InvalidArgument, codes.InvalidArgument, http.StatusBadRequest, "A field of the request is wrong.", "The violations name each field, what was found and what is allowed."},
	{RequestMalformed, codes.InvalidArgument, http.StatusBadRequest, "The request cannot be read.", "Send JSON in the form the OpenAPI document describes, with no unknown or repeated field."},
	{DocumentUnreadable, codes.InvalidArgument, http.StatusUnprocessableEntity, "A document of the request cannot be read.", "The violations name each place by JSON pointer; documents are checked before they are judged."},
	{PageTokenInvalid, codes.InvalidArgument, http.StatusBadRequest, "The page token does not fit the request.", "Use the token with the very request it was given for, or start again without one."},
	{LimitSize, codes.ResourceExhausted, http.StatusRequestEntityTooLarge, "The request is too large.", "Send at most 1 MiB; split the rest into more requests."},
	{LimitRate, codes.ResourceExhausted, http.StatusTooManyRequests, "Too many requests at once.", "Wait as long as Retry-After says and try again."},
	{RecordNotFound, codes.NotFound, http.StatusNotFound, "There is no such record.", "Check the spelling with search; ids are lower-case words joined by hyphens."},
	{RecordWithdrawn, codes.NotFound, http.StatusGone, "The record was withdrawn.", "Its history says why; at=position:N reads it as it was. Do not use the value for new work."},
	{MomentNotFound, codes.NotFound, http.StatusNotFound, "There is no such moment.", "Name a release that exists, or a time after the first publication."},
	{PositionNotPublished, codes.OutOfRange, http.StatusBadRequest, "The position is not yet published.", "Ask for a position up to the newest, which the proofload-position header tells."},
	{PositionAhead, codes.Unavailable, http.StatusServiceUnavailable, "This server has not yet seen the position.", "Try again; the newest position arrives within moments."},
	{RecordMoved, codes.Aborted, http.StatusConflict, "The record changed meanwhile.", "Read it again and redo the change."},
	{StorageFull, codes.ResourceExhausted, http.StatusInsufficientStorage, "The storage is full.", "Nothing was written. Free space; reads go on."},
	{StoreCorrupt, codes.DataLoss, http.StatusInternalServerError, "Stored data is damaged.", "The damaged record is not served. Restore it from a backup."},
	{StoreReadOnly, codes.Unavailable, http.StatusServiceUnavailable, "The store takes no writes.", "Reads go on. The log of the server says why."},
	{OutcomeUnknown, codes.Unknown, http.StatusInternalServerError, "It is not known whether the change was made.", "Read the record before trying again."},
	{RouteNotFound, codes.Unimplemented, http.StatusNotFound, "There is nothing at this address.", "GET / lists what there is."},
	{MethodNotAllowed, codes.Unimplemented, http.StatusMethodNotAllowed, "The address does not take this method.", "The Allow header lists the methods it takes."},
	{NotAcceptable, codes.InvalidArgument, http.StatusNotAcceptable, "The answer exists in no form the request accepts.", "Accept application/json."},
	{UnsupportedMedia, codes.InvalidArgument, http.StatusUnsupportedMediaType, "The body is in a form this address does not take.", "Send application/json; documents also as application/yaml."},
	{HostUnknown, codes.InvalidArgument, http.StatusMisdirectedRequest, "The request was meant for another host.", "Use the address the server prints when it starts."},
	{Draining, codes.Unavailable, http.StatusServiceUnavailable, "The server is stopping.", "Try again at once; another server or the restarted one will answer."},
	{DeadlineExceeded, codes.DeadlineExceeded, http.StatusGatewayTimeout, "The request took too long.", "Ask for less, or allow more time."},
	{Cancelled, codes.Canceled, 499, "The caller went away.", "Nothing."},
	{Internal, codes.Internal, http.StatusInternalServerError, "The server failed.", "Try again; if it stays, report it with the request id."},
}

var byKind = func() map[Kind]Row {
	m := make(map[Kind]Row, len(Table))
	for _, r := range Table {
		m[r.Kind] = r
	}
	return m
}()

// Row gives the kind's row; kinds outside the table are Internal.
func (k Kind) Row() Row {
	if r, ok := byKind[k]; ok {
		return r
	}
	return byKind[Internal]
}
