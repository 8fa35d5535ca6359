package main

import (
	"context"
	"fmt"
	"time"
)

// watchEvery is how often the folder is looked at. Looking reads no file, so a save
// shows within about this time and the check itself.
const watchEvery = 50 * time.Millisecond

// watching checks again whenever the library changes, until the context ends, which
// is how it is meant to end. What keeps a check from running is shown and waited out.
func (o *lintOptions) watching(ctx context.Context, e *env, t *target, co checkOptions, out *outputs) error {
	if len(t.loose) > 0 {
		return usagef("--watch follows a library, not standard input or files outside it")
	}
	if t.folder.dir == "" {
		return usagef("--watch follows a library on disk; this one is %s", t.folder.what())
	}
	last, err := t.folder.stamp()
	if err != nil {
		return err
	}
	for {
		if e.terminal {
			fmt.Fprint(e.stdout, "\x1b[H\x1b[2J") // to the top left, clear (ECMA-48)
		}
		run, err := check(ctx, e, t, co)
		if err == nil {
			err = out.write(e, run)
		}
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			fmt.Fprintf(e.stderr, "proofload: %v\n", err)
		}
		fmt.Fprintf(e.stderr, "watching %s; interrupt to stop\n", t.folder.dir)
		if last, err = t.folder.next(ctx, last); err != nil {
			return nil
		}
	}
}

// next waits until the folder's stamp differs from the last one. A folder that
// cannot be looked at is waited for: editors replace files, tools replace folders.
// The error is the context's.
func (f *folder) next(ctx context.Context, last [32]byte) ([32]byte, error) {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return last, ctx.Err()
		case <-tick.C:
			if now, err := f.stamp(); err == nil && now != last {
				return now, nil
			}
		}
	}
}
