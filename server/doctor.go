package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"proofload/server/doctor"
)

// errLooked says that something was found and has been printed.
var errLooked = errors.New("a server would not start with this, or not be safe; mend what is bad")

// look prints what a server with this configuration would meet. The error says that
// something is bad.
func (c config) look(ctx context.Context, out io.Writer) error {
	found := doctor.Look(ctx, doctor.Settings{
		Store: c.store, Create: c.create, Key: c.key, TLSCert: c.tlsCert, TLSKey: c.tlsKey, ClientCA: c.clientCA,
		Listen: map[string]string{"--http": c.http, "--grpc": c.grpc}, Now: time.Now(),
	})
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "%s\t%s\t%s\n", doctor.Good, "configuration", "understood; go run ./server config show prints it")
	for _, f := range found {
		fmt.Fprintf(w, "%s\t%s\t%s\n", f.State, f.Check, f.Text)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if doctor.Worst(found) == doctor.Bad {
		return errLooked
	}
	return nil
}
