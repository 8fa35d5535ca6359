// Command server serves a library over HTTP and gRPC.
//
//	go run ./server
//
// answers on loopback from a store in .data, filled with the demo library when it
// is new.
package main

import (
	"context"
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
		os.Exit(1)
	}
}
