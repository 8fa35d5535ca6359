package client

import (
	"errors"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "proofload/api/proofload/v1"
)

// Error is an error that the server gave. Its reason is stable: programs branch on it.
type Error struct {
	// Code is the gRPC code, Reason the server's own, like RECORD_NOT_FOUND; the
	// reason is empty for errors of the connection.
	Code   codes.Code
	Reason string
	// Message says what was found, what is allowed, how to mend.
	Message string
	// Metadata repeats the variables of the message.
	Metadata map[string]string
	// Violations are the bad fields of the request.
	Violations []Violation
	// Clashes are the fields that another correction changed differently meanwhile.
	Clashes []*pb.FieldClash
	// RetryAfter is how long to wait before trying again, 0 where it is not known.
	RetryAfter time.Duration

	status *status.Status
}

// Violation is one bad field.
type Violation struct{ Field, Description string }

// Error implements error.
func (e *Error) Error() string { return e.Message }

// GRPCStatus lets status.Code and status.FromError work on the error.
func (e *Error) GRPCStatus() *status.Status { return e.status }

// Reason returns the reason of an error, "" where it has none.
func Reason(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Reason
	}
	return ""
}

// restored is the error of an answer of another epoch than the one that is known.
func restored(known, epoch int64) error {
	return typed(status.Errorf(codes.FailedPrecondition, "answer is of epoch %d of the library, %d is known: it was restored from a backup; drop what was kept of it, then call Forget", epoch, known)).(*Error).because(Restored)
}

func (e *Error) because(reason string) *Error { e.Reason = reason; return e }

func typed(err error) error {
	s, ok := status.FromError(err)
	if err == nil || !ok {
		return err
	}
	e := &Error{Code: s.Code(), Message: s.Message(), status: s}
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			e.Reason, e.Metadata = d.Reason, d.Metadata
		case *errdetails.BadRequest:
			for _, v := range d.FieldViolations {
				e.Violations = append(e.Violations, Violation{v.Field, v.Description})
			}
		case *pb.FieldClashes:
			e.Clashes = d.Clashes
		case *errdetails.RetryInfo:
			e.RetryAfter = d.RetryDelay.AsDuration()
		}
	}
	return e
}
