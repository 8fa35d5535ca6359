package main

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"proofload/server/catalog"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
)

// greet says where the server answers and what to try first.
func greet(ctx context.Context, out io.Writer, c config, cat *catalog.Catalog, httpAddress, grpcAddress string) error {
	head, err := cat.Shelf.Store.Head(ctx)
	if err != nil {
		return err
	}
	// One write, so that whoever reads the output has all of it or nothing.
	var b bytes.Buffer
	defer func() { out.Write(b.Bytes()) }()
	fmt.Fprintf(&b, "ready at position %d, %d revisions, store sqlite:%s\n\n  HTTP  http://%s\n  gRPC  %s\n", head.Position, head.Revisions, c.store, httpAddress, grpcAddress)
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

  curl -H 'Accept: text/plain' http://%[1]s/v1/%[3]s/fasteners
  go tool grpcurl -plaintext -d '{"name": "%[4]s"}' %[2]s proofload.v1.Specs/GetFastener
  curl -s http://%[1]s/v1/%[4]s/document | curl -H 'Content-Type: application/json' --data-binary @- http://%[1]s/v1/documents:lint
`, httpAddress, grpcAddress, vehicle, fastener)
	if isDemo {
		fmt.Fprintf(&b, "\n%s\n", demo.Notice)
	}
	return nil
}

// first gives the name of the first record of a kind, "" where there is none.
func first(ctx context.Context, cat *catalog.Catalog, k specdata.Kind) (name string, isDemo bool, err error) {
	views, _, _, err := cat.List(ctx, store.Query{Kind: k}, catalog.Page{Size: 1}, catalog.Moment{})
	if err != nil || len(views) == 0 {
		return "", false, err
	}
	return string(views[0].Name), view.Demo(views[0].Message), nil
}
