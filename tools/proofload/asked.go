package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata/whom"
)

// askedFlags declares the flags that say for which vehicle something is wanted.
func askedFlags(fs *pflag.FlagSet) *whom.Asked {
	var a whom.Asked
	fs.StringVar(&a.Vehicle, "vehicle", "", "the vehicle's `ID`, where the procedure is for several")
	fs.StringVar(&a.VIN, "vin", "", "the vehicle identification `NUMBER`, instead of the vehicle's id")
	fs.StringArrayVar(&a.Stated.Options, "option", nil, "an option of the vehicle as `KEY=VALUE`; repeatable")
	fs.StringVar(&a.Stated.Built, "built", "", "when the vehicle was built: `2019-06-30`, 2019-W26 or \"no 120001\"")
	return &a
}

// wanted puts what whom says of a request into an error of the command line, with the
// flags that answer its questions. Other errors stay as they are.
func wanted(err error) error {
	var bad *whom.Wrong
	var not *whom.NotFor
	var open *whom.Undecided
	switch {
	case errors.As(err, &bad), errors.As(err, &not):
		return usagef("%v", err)
	case errors.As(err, &open):
		var answers []string
		for _, q := range open.Questions {
			answers = append(answers, flagFor(q))
		}
		return usagef("%v\nlook at the vehicle, then add %s", err, strings.Join(answers, " and "))
	}
	return err
}

// flagFor returns the flag that answers a question, with every answer allowed: one alone
// would be copied as if it were the answer.
func flagFor(q whom.Question) string {
	switch q.Key {
	case whom.KeyBuilt:
		return "--built DATE"
	case whom.KeySide, whom.KeyVehicle:
		return "--" + q.Key + " " + strings.Join(q.Allowed, "|")
	}
	return "--option " + q.Key + "=" + strings.Join(q.Allowed, "|")
}

// writeFor prints what an output is for, and that it is old where it is.
func writeFor(w io.Writer, f whom.For) {
	for _, line := range f.Lines() {
		fmt.Fprintln(w, line)
	}
	writeMoment(w, f.Moment())
}

// writeMoment prints that a moment is old and what has changed since, and nothing for
// the newest.
func writeMoment(w io.Writer, m whom.Moment) {
	if !m.Old() {
		return
	}
	fmt.Fprintf(w, "*** %s ***\n", m.Banner())
	for _, c := range m.Changed {
		fmt.Fprintf(w, "*** %s\n", c)
	}
}
