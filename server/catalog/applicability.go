package catalog

import (
	"errors"

	"proofload/server/fault"
	"proofload/specdata/whom"
)

// Refused turns what whom says of a request into an error of the service; other
// errors stay as they are. A record for another variant is no answer, and neither is
// one that may not apply: the caller has to say more.
func Refused(err error) error {
	var bad *whom.Wrong
	var not *whom.NotFor
	var open *whom.Undecided
	switch {
	case errors.As(err, &bad):
		return fault.Field(bad.Field, "%s", bad.Message)
	case errors.As(err, &not):
		e := fault.New(fault.InvalidArgument, "%v", not).With("record", string(not.Record)).With("for", not.For).With("asked", not.Asked)
		for _, key := range not.Differs {
			e.Violations = append(e.Violations, fault.Violation{Field: fieldOf(key), Description: e.Message})
		}
		return e
	case errors.As(err, &open):
		e := fault.New(fault.InvalidArgument, "%s is for %s.", open.Record, open.For).With("record", string(open.Record)).With("for", open.For)
		for _, q := range open.Questions {
			text := q.Text + how(q.Key)
			e.Message += " " + text
			e.Violations = append(e.Violations, fault.Violation{Field: fieldOf(q.Key), Description: text})
		}
		return e
	}
	return err
}

// fieldOf names the field of a request that answers a question.
func fieldOf(key string) string {
	switch key {
	case whom.KeyBuilt, whom.KeySide, whom.KeyVehicle:
		return key
	}
	return "options"
}

// how says how to answer a question.
func how(key string) string {
	switch key {
	case whom.KeyBuilt:
		return " Answer with built=2019-W10, built=2019-06-30 or a production number."
	case whom.KeySide:
		return " Answer with side=left or side=right."
	case whom.KeyVehicle:
		return " Answer with vehicle=ID."
	}
	return " Answer with options=" + key + "=VALUE."
}
