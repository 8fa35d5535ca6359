// Package intake fills an empty store with a library.
package intake

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"proofload/server/check"
	"proofload/server/store"
	"proofload/server/transfer"
	"proofload/specdata"
	"proofload/specdata/library"
)

// Fill publishes a library as the first position of a store, when every record
// passes the checks. It returns the number of records.
//
// The error names the first finding that blocks, or is the store's; nothing is
// published then. A store that holds something already is an error too.
func Fill(ctx context.Context, s store.Store, lib *library.Memory, judge check.Func, by, reviewer, reason string, now time.Time) (int, error) {
	head, err := s.Head(ctx)
	if err != nil {
		return 0, err
	}
	if head.Position != 0 {
		return 0, fmt.Errorf("store is at position %d; only an empty one can be filled", head.Position)
	}
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		entries = slices.AppendSeq(entries, lib.All(k))
	}
	var rep *check.Report
	done, err := transfer.Import(ctx, s, entries, transfer.ImportOptions{
		By: by, Reviewer: reviewer, Reason: reason, Time: now,
		// Nothing was there before, so everything is judged and nothing compared. The
		// library at hand answers the rules faster than the import's view of it.
		Check: func(ctx context.Context, _ library.Library, _ []specdata.Name, _ library.Library) (findings []specdata.Finding, err error) {
			if rep, err = judge(ctx, lib, nil, nil); err != nil {
				return nil, err
			}
			return rep.Findings, nil
		},
	})
	switch {
	case errors.Is(err, transfer.ErrBlocked):
		f := rep.Blocking()[0]
		return 0, fmt.Errorf("record %s%s: %s [%s]: %w", f.Record, f.Pointer, f.Message, f.Rule, err)
	case err != nil:
		return 0, err
	}
	return len(done.Added), nil
}
