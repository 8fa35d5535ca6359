package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/pflag"

	"proofload/server/access"
	"proofload/server/store"
	"proofload/server/store/address"
	"proofload/server/store/guard"
	"proofload/server/store/sqlite"
)

func restoreCommand() *command {
	return &command{
		name: "restore", args: "[BACKUP]", summary: "put a backup in the place of a store, so that clients and watchers notice",
		examples: []string{
			"proofload restore friday.db",
			"proofload restore friday.db --store sqlite:.data/proofload.db",
		},
		notes: []string{
			"What was published since the backup is gone, and its positions will be given again to something\nelse. So the restore raises the store's epoch, which every answer carries: a client that resumes from a\nposition that is gone is refused instead of being given another history.",
			"Tokens that were revoked since stay revoked, as far as the store that is replaced can be read; where\nit cannot, every token of the backup is revoked, and an administrator gets a new one with\ngo run ./server token add. The replaced store is kept beside the new one.",
			"A database in PostgreSQL is restored with PostgreSQL's own tools; restore without a BACKUP then declares it.",
			"Stop the servers of the store first.",
		},
		setup: func(fs *pflag.FlagSet) action {
			name := storeFlag(fs)
			served := fs.Int64("served", 0, "highest `POSITION` that was published before the restore, where it is known")
			return func(ctx context.Context, e *env, args []string) error {
				a, err := address.Parse(*name)
				if err != nil {
					return usagef("flag --store: %v", err)
				}
				file, embedded := a.File()
				switch {
				case embedded && len(args) != 1:
					return usagef("restore takes one backup, found %d arguments", len(args))
				case !embedded && len(args) != 0:
					return usagef("restore takes no backup for a store in PostgreSQL: restore the database first, with its own tools")
				}
				r := &restoring{e: e, address: a, file: file, lost: *served}
				if embedded {
					err = r.backup(ctx, args[0])
				} else {
					err = r.database(ctx)
				}
				return err
			}
		},
	}
}

// restoring is a restore under way.
type restoring struct {
	e       *env
	address address.Address
	file    string
	// lost is the highest position of the store that is replaced, epoch its epoch.
	lost, epoch int64
	// revoked are the tokens that were revoked there, known says that they are known.
	revoked map[string]*store.Note
	known   bool
}

// backup restores an embedded store from a backup.
func (r *restoring) backup(ctx context.Context, from string) (err error) {
	if _, err := os.Stat(from); err != nil {
		return pathError("backup", from, err)
	}
	now := r.e.now()
	fresh := r.file + ".restored"
	if _, err := sqlite.Backup(ctx, from, fresh); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, sqlite.Remove(fresh))
		}
	}()
	if err := r.readOld(ctx); err != nil {
		return err
	}
	s, err := sqlite.Open(ctx, fresh, sqlite.Options{Existing: true})
	if err != nil {
		return err
	}
	mark, err := r.declare(ctx, s, now)
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	base := fmt.Sprintf("%s.before-restore-%s", r.file, now.UTC().Format("20060102-150405"))
	kept := base
	for n := 2; exists(kept); n++ {
		kept = fmt.Sprintf("%s-%d", base, n)
	}
	if exists(r.file) {
		if err := sqlite.Move(r.file, kept); err != nil {
			return err
		}
		fmt.Fprintf(r.e.stdout, "%s: the store that was there, kept\n", kept)
	}
	if err := sqlite.Move(fresh, r.file); err != nil {
		return err
	}
	return guard.WriteFile(r.address.Mark(), mark)
}

func exists(file string) bool {
	_, err := os.Lstat(file)
	return err == nil
}

// database declares the restore of a database that is restored already.
func (r *restoring) database(ctx context.Context) error {
	s, err := r.address.Open(ctx)
	if err != nil {
		return err
	}
	kept, err := guard.ReadFile(r.address.Mark())
	if err == nil && kept != nil {
		r.epoch, r.lost = kept.Epoch, max(r.lost, kept.Position)
	}
	var mark guard.Mark
	if err == nil {
		mark, err = r.declare(ctx, s, r.e.now())
	}
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	return guard.WriteFile(r.address.Mark(), mark)
}

// readOld reads what has to survive of the store that is replaced. One that a server
// has open is an error; one that cannot be read is not.
func (r *restoring) readOld(ctx context.Context) error {
	kept, err := guard.ReadFile(r.address.Mark())
	if err == nil && kept != nil {
		r.epoch, r.lost = kept.Epoch, max(r.lost, kept.Position)
	}
	if _, err := os.Stat(r.file); err != nil {
		return nil
	}
	s, err := sqlite.Open(ctx, r.file, sqlite.Options{Existing: true})
	if err != nil {
		if sqlite.InUse(err) {
			return err
		}
		fmt.Fprintf(r.e.stderr, "the store that is replaced cannot be read: %v\n", err)
		return nil
	}
	defer s.Close()
	head, err := s.Head(ctx)
	if err == nil {
		r.lost = max(r.lost, head.Position)
		var e store.Epoch
		if e, err = guard.ReadEpoch(ctx, s); err == nil {
			r.epoch = max(r.epoch, e.Number)
			r.revoked, err = access.RevokedNotes(ctx, s)
		}
	}
	r.known = err == nil
	return nil
}

// declare raises the epoch, carries the revocations over and returns the mark.
func (r *restoring) declare(ctx context.Context, s store.Store, now time.Time) (m guard.Mark, err error) {
	e, err := guard.ReadEpoch(ctx, s)
	if err != nil {
		return m, err
	}
	head, err := s.Head(ctx)
	if err != nil {
		return m, err
	}
	next := store.Epoch{Number: max(e.Number, r.epoch) + 1, Position: head.Position, Time: now.UTC(), Lost: max(r.lost, head.Position)}
	if err := guard.WriteEpoch(ctx, s, next); err != nil {
		return m, err
	}
	gone, err := access.Carry(ctx, s, r.revoked, !r.known, now)
	if err != nil {
		return m, err
	}
	said := ""
	if !r.known {
		said = ": all there are, because those revoked since cannot be known"
	}
	fmt.Fprintf(r.e.stdout, "%s: epoch %d from position %d on, up to %d was published before; %s revoked%s\n", r.address, next.Number, next.Position, next.Lost, count(gone, "token", "tokens"), said)
	return guard.MarkOf(ctx, s, now)
}
