// Command server serves a library over HTTP and gRPC.
//
//	go run ./server
//
// answers on loopback from a store in .data, filled with the demo library when it
// is new.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	if err := run(context.Background(), os.Args[1:], os.Stdout, os.Stderr, signals); err != nil {
		fmt.Fprintln(os.Stderr, "server:", err)
		os.Exit(exitCode(err))
	}
}

// The exit codes besides 0, those of the command line.
const (
	exitUsage  = 2 // the flags, the environment or the file of settings are wrong
	exitBroken = 3 // could not run: an address in use, a store that cannot be served
)

// misuse is an error of the command line, the environment or the file of settings.
type misuse struct{ error }

func (m misuse) Unwrap() error { return m.error }

func exitCode(err error) int {
	var wrong misuse
	if errors.As(err, &wrong) {
		return exitUsage
	}
	return exitBroken
}
