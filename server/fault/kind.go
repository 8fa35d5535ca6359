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
	StoreWentBack        Kind = "STORE_WENT_BACK"
	StoreRestored        Kind = "STORE_RESTORED"
	StoreReadOnly        Kind = "STORE_READ_ONLY"
	OutcomeUnknown       Kind = "OUTCOME_UNKNOWN"
	TokenMissing         Kind = "TOKEN_MISSING"
	TokenInvalid         Kind = "TOKEN_INVALID"
	TokenNotFound        Kind = "TOKEN_NOT_FOUND"
	RoleRequired         Kind = "ROLE_REQUIRED"
	CorrectionNotFound   Kind = "CORRECTION_NOT_FOUND"
	CorrectionState      Kind = "CORRECTION_STATE"
	CorrectionMoved      Kind = "CORRECTION_MOVED"
	SecondAdminRequired  Kind = "SECOND_ADMIN_REQUIRED"
	LastAdmin            Kind = "LAST_ADMIN"
	SelfReview           Kind = "SELF_REVIEW"
	FindingsBlock        Kind = "FINDINGS_BLOCK"
	FieldsClash          Kind = "FIELDS_CLASH"
	PatchFailed          Kind = "PATCH_FAILED"
	EtagRequired         Kind = "ETAG_REQUIRED"
	EtagMismatch         Kind = "ETAG_MISMATCH"
	RequestIDReused      Kind = "REQUEST_ID_REUSED"
	BaseRequired         Kind = "BASE_REQUIRED"
	SheetUnprintable     Kind = "SHEET_UNPRINTABLE"
	NothingChanged       Kind = "NOTHING_CHANGED"
	RecheckRequired      Kind = "RECHECK_REQUIRED"
	NotAuthor            Kind = "NOT_AUTHOR"
	WaiverOfAnother      Kind = "WAIVER_OF_ANOTHER"
	PositionTooOld       Kind = "POSITION_TOO_OLD"
	WatcherSlow          Kind = "WATCHER_SLOW"
	ReleaseTaken         Kind = "RELEASE_TAKEN"
	SheetCodeMistyped    Kind = "SHEET_CODE_MISTYPED"
	SheetCodeUnknown     Kind = "SHEET_CODE_UNKNOWN"
	SheetCodeFalse       Kind = "SHEET_CODE_FALSE"
	JobNotFound          Kind = "JOB_NOT_FOUND"
	NarrationNotFound    Kind = "NARRATION_NOT_FOUND"
	StepRefused          Kind = "STEP_REFUSED"
	CrossOrigin          Kind = "CROSS_ORIGIN"
	RouteNotFound        Kind = "ROUTE_NOT_FOUND"
	MethodNotAllowed     Kind = "METHOD_NOT_ALLOWED"
	NotAcceptable        Kind = "NOT_ACCEPTABLE"
	UnsupportedMedia     Kind = "UNSUPPORTED_MEDIA"
	HostUnknown          Kind = "HOST_UNKNOWN"
	StoreAway            Kind = "STORE_AWAY"
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
	{StoreWentBack, codes.Unavailable, http.StatusServiceUnavailable, "The store's history went back or forked.", "Nothing is served until the newest database is back, or a restore is declared. The log of the server says more."},
	{StoreRestored, codes.FailedPrecondition, http.StatusPreconditionFailed, "The store was restored, and its history is another from there on.", "Forget what was read behind the position that the message names, and begin there."},
	{StoreReadOnly, codes.Unavailable, http.StatusServiceUnavailable, "The store takes no writes.", "Reads go on. The log of the server says why."},
	{OutcomeUnknown, codes.Unknown, http.StatusInternalServerError, "It is not known whether the change was made.", "Read the record before trying again."},
	{TokenMissing, codes.Unauthenticated, http.StatusUnauthorized, "The request needs a token.", "Send Authorization: Bearer TOKEN; an administrator gives tokens out."},
	{TokenInvalid, codes.Unauthenticated, http.StatusUnauthorized, "The token is not valid.", "It is misspelt, expired or revoked; ask an administrator for another."},
	{TokenNotFound, codes.NotFound, http.StatusNotFound, "There is no such token.", "List the tokens to see their ids."},
	{RoleRequired, codes.PermissionDenied, http.StatusForbidden, "The token lacks the role for this.", "Use a token with the role the message names."},
	{CorrectionNotFound, codes.NotFound, http.StatusNotFound, "There is no such correction.", "List the corrections, or those of the record."},
	{CorrectionState, codes.FailedPrecondition, http.StatusConflict, "The correction is not in a state that allows this.", "The message says where it stands and what can follow."},
	{CorrectionMoved, codes.Aborted, http.StatusConflict, "The correction changed since it was read.", "Read it again, look at what changed, and decide again."},
	{SecondAdminRequired, codes.FailedPrecondition, http.StatusConflict, "A second administrator has to ask for this token, too.", "Have another administrator ask for the same token within a day; a token in somebody's name lets its holder sign for them."},
	{LastAdmin, codes.FailedPrecondition, http.StatusConflict, "The token is the last of an administrator.", "Give out another administrator's token first."},
	{SelfReview, codes.PermissionDenied, http.StatusForbidden, "Nobody may review a correction that they wrote any part of.", "Ask another reviewer."},
	{FindingsBlock, codes.FailedPrecondition, http.StatusConflict, "Findings block publishing.", "Mend them by amending the correction, or waive them in the record with a reason."},
	{FieldsClash, codes.Aborted, http.StatusConflict, "Another correction changed the same fields meanwhile.", "The clashes show both sides; redo the change on the newest revision."},
	{PatchFailed, codes.InvalidArgument, http.StatusUnprocessableEntity, "The patch cannot be applied.", "It is malformed, a test of it fails, or it grows past the limits; nothing was kept."},
	{EtagRequired, codes.FailedPrecondition, http.StatusPreconditionRequired, "The request must say which state it was made against.", "Send the ETag of what you read: If-Match over HTTP, etag in a message."},
	{EtagMismatch, codes.Aborted, http.StatusPreconditionFailed, "The state the request was made against is not the newest.", "Read it again and redo the change."},
	{RequestIDReused, codes.InvalidArgument, http.StatusUnprocessableEntity, "The request id was used for another request.", "Give every new request a new id; repeat a request byte for byte."},
	{BaseRequired, codes.FailedPrecondition, http.StatusPreconditionRequired, "The change does not say which revision it was made against.", "Send the revision, or the hash of the document, that the change was made against."},
	{SheetUnprintable, codes.FailedPrecondition, http.StatusUnprocessableEntity, "A text of the sheet has a character that cannot be printed as PDF.", "Print it as HTML with format=html, or correct the record that the message names."},
	{NothingChanged, codes.InvalidArgument, http.StatusUnprocessableEntity, "The change changes nothing.", "Leave the record out, or change something."},
	{RecheckRequired, codes.FailedPrecondition, http.StatusConflict, "The library has changed since the correction was checked.", "Recheck the correction; if that changes its content, have it approved again."},
	{NotAuthor, codes.PermissionDenied, http.StatusForbidden, "Only an author withdraws a correction.", "Ask an author, or have it rejected by a reviewer."},
	{WaiverOfAnother, codes.PermissionDenied, http.StatusForbidden, "A waiver accepts a finding in the name of who approves it, of nobody else.", "Have the person whom the waiver names approve the correction, or amend the waiver."},
	{PositionTooOld, codes.OutOfRange, http.StatusGone, "A watch cannot begin so far back.", "List the log (GET /v1/log) from the position you have, page by page, and watch from the position the last page names."},
	{WatcherSlow, codes.ResourceExhausted, http.StatusTooManyRequests, "The watcher reads events more slowly than they arrive.", "Watch again from the position that resume_after names; read faster, or filter more."},
	{ReleaseTaken, codes.AlreadyExists, http.StatusConflict, "The release names another position.", "A release is named once and for all; choose another name."},
	{SheetCodeMistyped, codes.InvalidArgument, http.StatusBadRequest, "The sheet code is mistyped.", "Read it again from the paper; there is no letter I, L, O or U in it."},
	{SheetCodeUnknown, codes.NotFound, http.StatusNotFound, "The sheet code is not known here.", "Ask the library it was printed from; its address stands beside the code."},
	{SheetCodeFalse, codes.NotFound, http.StatusNotFound, "No sheet of this library has this code.", "Do not use the sheet. Print one from the library."},
	{JobNotFound, codes.NotFound, http.StatusNotFound, "There is no such job.", "List the jobs."},
	{NarrationNotFound, codes.NotFound, http.StatusNotFound, "There is no such narration.", "List the narrations."},
	{StepRefused, codes.FailedPrecondition, http.StatusConflict, "The state of the job forbids this.", "Do what is needed first, or send a reason as text; it stays visible on the job."},
	{CrossOrigin, codes.PermissionDenied, http.StatusForbidden, "The request comes from another site.", "Open the page of this server and do it there."},
	{RouteNotFound, codes.Unimplemented, http.StatusNotFound, "There is nothing at this address.", "GET / lists what there is."},
	{MethodNotAllowed, codes.Unimplemented, http.StatusMethodNotAllowed, "The address does not take this method.", "The Allow header lists the methods it takes."},
	{NotAcceptable, codes.InvalidArgument, http.StatusNotAcceptable, "The answer exists in no form the request accepts.", "Accept application/json."},
	{UnsupportedMedia, codes.InvalidArgument, http.StatusUnsupportedMediaType, "The body is in a form this address does not take.", "Send application/json; documents also as application/yaml."},
	{HostUnknown, codes.InvalidArgument, http.StatusMisdirectedRequest, "The request was meant for another host.", "Use the address the server prints when it starts."},
	{StoreAway, codes.Unavailable, http.StatusServiceUnavailable, "The store does not answer.", "Try again when Retry-After says; nothing was lost by this request."},
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

// Row returns the kind's row; kinds outside the table are Internal.
func (k Kind) Row() Row {
	if r, ok := byKind[k]; ok {
		return r
	}
	return byKind[Internal]
}
