package access

import (
	"context"
	"encoding/json"
	"log/slog"
	"strings"

	"proofload/server/store"
)

// Trail is a store that logs who published, named a release, gave out a token or took
// one back, and who moved a correction: one line each, at the level that is on by
// default. Secrets are in none of them.
type Trail struct {
	store.Store
	log *slog.Logger
}

// NewTrail returns a store that logs what is written to another.
func NewTrail(s store.Store, log *slog.Logger) *Trail { return &Trail{s, log} }

func (t *Trail) line(ctx context.Context, act string, err error, attrs ...slog.Attr) {
	if by := Caller(ctx); by != nil {
		attrs = append(attrs, slog.String("by", by.Person), slog.String("token", by.ID))
	}
	if err != nil {
		attrs = append(attrs, slog.String("refused", err.Error()))
	}
	t.log.LogAttrs(ctx, slog.LevelInfo, act, attrs...)
}

// Publish implements store.Store.
func (t *Trail) Publish(ctx context.Context, p store.Publication) (int64, error) {
	position, err := t.Store.Publish(ctx, p)
	first := ""
	if len(p.Changes) > 0 {
		first = string(p.Changes[0].Name)
	}
	t.line(ctx, "publish", err, slog.Int64("position", position), slog.Int("changes", len(p.Changes)), slog.String("first", first),
		slog.String("authors", strings.Join(p.Authors, ", ")), slog.String("reviewer", p.Reviewer), slog.String("reason", p.Reason))
	return position, err
}

// SetRelease implements store.Store.
func (t *Trail) SetRelease(ctx context.Context, r store.Release) error {
	err := t.Store.SetRelease(ctx, r)
	t.line(ctx, "release", err, slog.String("release", r.Name), slog.Int64("position", r.Position))
	return err
}

// WriteNotes implements store.Store.
func (t *Trail) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	err := t.Store.WriteNotes(ctx, writes)
	for _, w := range writes {
		switch w.Space {
		case tokenSpace:
			var x Token
			if json.Unmarshal(w.Body, &x) != nil {
				continue
			}
			act := "token given"
			if !x.Revoked.IsZero() {
				act = "token revoked"
			}
			t.line(ctx, act, err, slog.String("id", x.ID), slog.String("person", x.Person), slog.Any("roles", x.Roles), slog.String("second", x.Second))
		case grantSpace:
			if w.Body != nil {
				t.line(ctx, "token asked for, a second administrator is needed", err)
			}
		case "corrections":
			var x struct {
				State string `json:"state"`
			}
			if json.Unmarshal(w.Body, &x) == nil {
				t.line(ctx, "correction", err, slog.String("correction", w.Key), slog.String("state", x.State))
			}
		}
	}
	return err
}
