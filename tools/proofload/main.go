// Command proofload checks records of fasteners, procedures and what belongs to
// them, on the command line and in continuous integration.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	signal.Ignore(syscall.SIGPIPE) // writes fail instead, and the exit code stays one of ours
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, &env{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		now: time.Now, getenv: os.Getenv, terminal: isTerminal(os.Stdout), asks: isTerminal(os.Stdin) && isTerminal(os.Stdout),
	}, os.Args[1:])
	stop()
	os.Exit(code)
}

// env is what commands know of the world outside the file system.
type env struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	now            func() time.Time
	getenv         func(string) string
	// terminal says that stdout is one, asks that a person is there to be asked.
	terminal, asks bool
}

func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
