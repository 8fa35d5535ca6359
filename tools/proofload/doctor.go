package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/pflag"

	"proofload/server/doctor"
	"proofload/server/store/address"
)

func doctorCommand() *command {
	return &command{
		name: "doctor", summary: "look at what a server needs before it is started: store, key, certificate, ports, clock, disk",
		examples: []string{
			"proofload doctor",
			"proofload doctor --store sqlite:.data/proofload.db",
		},
		notes: []string{
			"Nothing is changed. The exit status is 0 where all is well, 1 where something is to be looked at,\nand 3 where a server would not start or not be safe.",
			"A port that a server of yours listens on is said to be in use: look before it is started. With its own\nflags, environment and file the server looks by itself: go run ./server doctor.",
		},
		setup: func(fs *pflag.FlagSet) action {
			store := storeFlag(fs)
			var s doctor.Settings
			fs.StringVar(&s.Key, "key", "", "`FILE` of the signing key, where it is not kept in the store")
			fs.StringVar(&s.TLSCert, "tls-cert", "", "`FILE` of the certificate (PEM)")
			fs.StringVar(&s.TLSKey, "tls-key", "", "`FILE` of the certificate's key (PEM)")
			fs.StringVar(&s.ClientCA, "client-ca", "", "`FILE` of the certificates that sign those of clients (PEM)")
			http := fs.String("http", "127.0.0.1:7450", "`ADDRESS` for REST and pages")
			grpc := fs.String("grpc", "127.0.0.1:7451", "`ADDRESS` for gRPC")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 0 {
					return usagef("doctor takes no arguments, found %d", len(args))
				}
				a, err := address.Parse(*store)
				if err != nil {
					return usagef("flag --store: %v", err)
				}
				s.Store, s.Create, s.Now = a, !fs.Changed("store"), time.Now()
				s.Listen = map[string]string{"--http": *http, "--grpc": *grpc}
				found := doctor.Look(ctx, s)
				w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
				for _, f := range found {
					fmt.Fprintf(w, "%s\t%s\t%s\n", f.State, f.Check, f.Text)
				}
				if err := w.Flush(); err != nil {
					return err
				}
				switch doctor.Worst(found) {
				case doctor.Bad:
					return fmt.Errorf("a server would not start or not be safe; mend what is bad")
				case doctor.Warned:
					return errFindings
				}
				return nil
			}
		},
	}
}
