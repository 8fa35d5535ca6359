package main

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
)

// greet says where the server answers, what to try first, and the tokens of a new store.
func greet(ctx context.Context, out io.Writer, c config, cat *catalog.Catalog, httpAddress, grpcAddress string, tokens []givenToken) error {
	head, err := cat.Follower.Store.Head(ctx)
	if err != nil {
		return err
	}
	// One write, so that anyone who reads the output has all of it or nothing.
	var b bytes.Buffer
	defer func() { out.Write(b.Bytes()) }()
	scheme, plaintext, header := "http", "-plaintext ", ""
	if c.tlsCert != "" {
		scheme, plaintext, header = "https", "", `-H "Authorization: Bearer $PROOFLOAD_TOKEN" `
	}
	fmt.Fprintf(&b, "ready at position %d, %d revisions, store %s\n\n  HTTP  %s://%s\n  gRPC  %s\n", head.Position, head.Revisions, c.store, scheme, httpAddress, grpcAddress)
	greetTokens(&b, tokens)
	vehicle, isDemo, err := first(ctx, cat, specdata.KindVehicle)
	if err != nil {
		return err
	}
	fastener, _, err := first(ctx, cat, specdata.KindFastener)
	if err != nil {
		return err
	}
	if vehicle == "" || fastener == "" {
		fmt.Fprint(&b, "\nThe library has no fasteners yet.\n")
		return nil
	}
	fmt.Fprintf(&b, `
Try:

  curl %[7]s-H 'Accept: text/plain' %[5]s://%[1]s/v1/%[3]s/fasteners
  go tool grpcurl %[7]s%[6]s-d '{"name": "%[4]s"}' %[2]s proofload.v1.Specs/GetFastener
  curl -s %[7]s%[5]s://%[1]s/v1/%[4]s/document | curl %[7]s-H 'Content-Type: application/json' --data-binary @- %[5]s://%[1]s/v1/documents:lint
`, httpAddress, grpcAddress, vehicle, fastener, scheme, plaintext, header)
	if isDemo {
		fmt.Fprintf(&b, "\n%s\n", demo.Notice)
	}
	return nil
}

// first returns the name of the first record of a kind, "" where there is none.
func first(ctx context.Context, cat *catalog.Catalog, k specdata.Kind) (name string, isDemo bool, err error) {
	views, _, _, err := cat.List(ctx, store.Query{Kind: k}, ask.Page{Size: 1}, ask.Newest())
	if err != nil || len(views) == 0 {
		return "", false, err
	}
	return string(views[0].Name), view.Demo(views[0].Message), nil
}
