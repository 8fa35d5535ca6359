package catalog

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"time"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// maxReleaseNote is the longest note of a release, in bytes.
const maxReleaseNote = 1000

// CreateRelease names the position of a moment. Naming the same position again gives
// the release as it is; the error is ReleaseTaken where the name has another.
func (c *Catalog) CreateRelease(ctx context.Context, name, note, by string, m ask.Moment, now time.Time) (store.Release, error) {
	if len(note) > maxReleaseNote {
		return store.Release{}, fault.Field("note", "note has %d bytes; allowed: %d", len(note), maxReleaseNote)
	}
	if err := specdata.UnseenError("note", note); err != nil {
		return store.Release{}, fault.Field("note", "%v", err)
	}
	position, err := c.Position(ctx, m)
	if err != nil {
		return store.Release{}, err
	}
	if position == 0 {
		return store.Release{}, fault.New(fault.MomentNotFound, "library has no publication yet, so there is nothing to name")
	}
	r := store.Release{Name: name, Position: position, Note: note, By: by, Time: now}
	if err := r.Validate(); err != nil {
		return store.Release{}, fault.Field("release_id", "%v", err)
	}
	err = c.Follower.Store.SetRelease(ctx, r)
	taken, found := c.Release(ctx, name)
	if errors.Is(err, store.ErrConflict) && found == nil && m == ask.Newest() && taken.Position < position {
		// Naming the newest position again is naming the same one, where nothing but acts,
		// this one's among them, was published since.
		if moved, touchedErr := c.touched(ctx, taken.Position, position); touchedErr == nil && len(moved) == 0 {
			return taken, nil
		}
	}
	switch {
	case errors.Is(err, store.ErrConflict) && found == nil:
		return store.Release{}, fault.New(fault.ReleaseTaken, "release %s names position %d, not %d; a name is given once, choose another", name, taken.Position, position).
			With("release", name).With("position", strconv.FormatInt(taken.Position, 10)).With("wanted", strconv.FormatInt(position, 10)).Because(err)
	case err != nil:
		return store.Release{}, err
	default:
		return taken, found
	}
}

// Release returns a release by its name; the error is MomentNotFound.
func (c *Catalog) Release(ctx context.Context, name string) (store.Release, error) {
	all, err := c.Follower.Store.Releases(ctx)
	if err != nil {
		return store.Release{}, err
	}
	if i := slices.IndexFunc(all, func(r store.Release) bool { return r.Name == name }); i >= 0 {
		return all[i], nil
	}
	return store.Release{}, fault.New(fault.MomentNotFound, "release %q does not exist; GET /v1/releases lists those there are", ask.Clip(name)).With("release", ask.Clip(name))
}

// Releases returns one page of the releases, in order of position, then name.
func (c *Catalog) Releases(ctx context.Context, p ask.Page) (part []store.Release, next string, err error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, "", err
	}
	all, err := c.Follower.Store.Releases(ctx)
	if err != nil {
		return nil, "", err
	}
	const query = "releases"
	if p.Token != "" {
		cur, err := c.Pages.Cursor(query, p.Token)
		if err != nil {
			return nil, "", err
		}
		for len(all) > 0 && (all[0].Position < cur.Position || all[0].Position == cur.Position && all[0].Name <= cur.After) {
			all = all[1:]
		}
	}
	if len(all) > size {
		all = all[:size]
		last := all[size-1]
		next = c.Pages.Token(query, ask.Cursor{Position: last.Position, After: last.Name})
	}
	return all, next, nil
}
