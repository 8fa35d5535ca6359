package main

import (
	"context"

	"proofload/server/store"
	"proofload/server/transfer"
	"proofload/specdata/lexicon"
)

// speak makes the library's own words, which an import keeps beside its records, those
// that this server reads texts by.
func speak(ctx context.Context, s store.Store) error {
	words, err := transfer.Words(ctx, s)
	if err != nil {
		return err
	}
	own, err := lexicon.Own(words)
	if err != nil {
		return err
	}
	lexicon.SetDefault(own)
	return nil
}
