package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/act"
	"proofload/tools/lint/render"
)

func logCommand() *command {
	return &command{
		name: "log", summary: "list what was published on a server, and follow it",
		examples: []string{
			"proofload log",
			"proofload log --vehicle quill-1 --after 1",
			"proofload log --kind act                      # who gave out tokens, approved, signed, named releases",
			"proofload log --follow --kind fastener        # from now on, until interrupted",
		},
		notes: []string{
			"Each line is position, time, record, revision, author, reviewer and reason; below it stands what\nmoved. Following connects again by itself and goes on where it was.",
		},
		setup: func(fs *pflag.FlagSet) action {
			var o logOptions
			o.flags = addServerFlags(fs)
			fs.Int64Var(&o.after, "after", 0, "begin after this `POSITION`")
			fs.StringArrayVar(&o.kinds, "kind", nil, "keep records of this `KIND`, or act for what people with authority did; may be given more than once")
			fs.StringArrayVar(&o.names, "name", nil, "keep this record, `COLLECTION/ID`; may be given more than once")
			fs.StringVar(&o.vehicle, "vehicle", "", "keep what applies, or applied before, to this vehicle `ID`")
			fs.StringVar(&o.source, "source", "", "keep what cites, or cited before, this source `ID`")
			fs.BoolVarP(&o.follow, "follow", "f", false, "wait for what is published; without --after from now on")
			fs.BoolVar(&o.json, "json", false, "write JSON, an entry a line")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) > 0 {
					return usagef("log takes no argument, found %q", args[0])
				}
				o.fromNow = o.follow && !fs.Changed("after")
				s, err := o.flags.connect(e)
				if err != nil {
					return err
				}
				if o.follow {
					return refused(e, o.watch(ctx, e, s))
				}
				return refused(e, o.list(ctx, e, s))
			}
		},
	}
}

type logOptions struct {
	flags           *serverFlags
	after           int64
	kinds, names    []string
	vehicle, source string
	follow, fromNow bool
	json            bool
}

// query is what both addresses of the log take.
func (o *logOptions) query() url.Values {
	q := url.Values{"kinds": o.kinds, "names": o.names, "moves": {"true"}}
	for key, value := range map[string]string{"vehicle": o.vehicle, "source": o.source} {
		if value != "" {
			q.Set(key, value)
		}
	}
	if !o.fromNow {
		q.Set("after", strconv.FormatInt(o.after, 10))
	}
	return q
}

func (o *logOptions) list(ctx context.Context, e *env, s *server) error {
	q := o.query()
	q.Set("page_size", "500")
	for {
		var page pb.ListLogResponse
		if err := s.call(ctx, http.MethodGet, "/v1/log", q, nil, &page); err != nil {
			return err
		}
		if err := o.write(e.stdout, page.Entries); err != nil {
			return err
		}
		if page.NextPageToken == "" {
			return nil
		}
		q.Set("page_token", page.NextPageToken)
	}
}

// write writes entries, a line or two each.
func (o *logOptions) write(w io.Writer, entries []*pb.LogEntry) error {
	var b strings.Builder
	for _, one := range entries {
		if o.json {
			line, err := (protojson.MarshalOptions{UseProtoNames: true}).Marshal(one)
			if err != nil {
				return err
			}
			b.Write(line)
			b.WriteString("\n")
			continue
		}
		if specdata.Name(one.Name).IsAct() {
			by := ", by " + atConsole(one.Authors) + andSecond(one.Reviewer)
			if strings.Contains(one.Title, by[1:]) || strings.Contains(one.Title, act.AtStart) {
				by = "" // the title says so; a first token's leaf is written with the first act after it
			}
			fmt.Fprintf(&b, "%d  %s  %s%s\n", one.Position, one.CreateTime.AsTime().Format("2006-01-02 15:04"), render.Clean(one.Title), render.Clean(by))
			continue
		}
		how := one.Difference.GetHow()
		fmt.Fprintf(&b, "%d  %s  %s %s, revision %d, by %s, reviewed by %s: %s\n", one.Position, one.CreateTime.AsTime().Format("2006-01-02 15:04"), how, one.Name, one.Revision,
			strings.Join(one.Authors, ", "), one.Reviewer, one.Reason)
		if f := one.Difference.GetForWhom(); f != nil {
			fmt.Fprintf(&b, "     FOR %s\n", f.Text)
		}
		for _, m := range one.Difference.GetMoves() {
			fmt.Fprintf(&b, "     %s\n", m.Text)
		}
	}
	_, err := io.WriteString(w, b.String())
	return stdoutError(err)
}

func atConsole(authors []string) string {
	if len(authors) == 0 {
		return "somebody at the server's console"
	}
	return strings.Join(authors, ", ")
}

func andSecond(person string) string {
	if person == "" {
		return ""
	}
	return " and " + person
}

// watch follows the log until it is interrupted. A connection that breaks is made
// again, behind the last event that arrived whole.
func (o *logOptions) watch(ctx context.Context, e *env, s *server) error {
	f := &follower{logOptions: o, out: e.stdout, says: e.stderr, server: s, client: &http.Client{}}
	for failed := 0; ; failed++ {
		reached := f.last
		err := f.connect(ctx)
		var r *refusal
		switch {
		case ctx.Err() != nil:
			return nil // it was interrupted, which is how following ends
		case errors.As(err, &r) && r.Status != http.StatusServiceUnavailable && r.Status != http.StatusTooManyRequests:
			return err
		case f.broken != nil:
			return f.broken
		case f.last != reached:
			failed = 0
		case f.last == "" && failed == tries:
			return err
		}
		select {
		case <-time.After(time.Duration(min(failed+1, 10)) * 200 * time.Millisecond):
		case <-ctx.Done():
			return nil
		}
	}
}

// follower reads server-sent events (HTML standard, section 9.2.6).
type follower struct {
	*logOptions
	out    io.Writer
	says   io.Writer
	server *server
	client *http.Client
	// last is the id of the last event, to which a new connection goes on.
	last string
	// broken is why nothing can be written any more.
	broken error
}

func (f *follower) connect(ctx context.Context) error {
	u := *f.server.base
	u.Path += "/v1/log:watch"
	u.RawQuery = f.query().Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return err
	}
	req.Header = http.Header{"Accept": {"text/event-stream"}, "Last-Event-Id": {f.last}}
	if f.server.token != "" {
		req.Header.Set("Authorization", "Bearer "+f.server.token)
	}
	answer, err := f.client.Do(req)
	if err != nil {
		var failed *url.Error
		if errors.As(err, &failed) {
			err = failed.Err
		}
		return fmt.Errorf("server %s does not answer: %w", f.server.named, err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		body, err := io.ReadAll(io.LimitReader(answer.Body, maxBody))
		r := refusal{Status: answer.StatusCode}
		if err != nil || json.Unmarshal(body, &r) != nil || r.Detail == "" {
			r.Detail = fmt.Sprintf("server %s answers the watch with %s", f.server.named, answer.Status)
		}
		return &r
	}
	if at := answer.Header.Get("Proofload-Position"); f.last == "" {
		f.last = at // what was now when the first connection was made
		fmt.Fprintf(f.says, "following %s from position %s; interrupt to stop\n", f.server.named, at)
	}
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, maxBody)
	id, event, data := "", "", ""
	var part []*pb.LogEntry
	for lines.Scan() {
		field, value, _ := strings.Cut(lines.Text(), ":")
		value = strings.TrimPrefix(value, " ")
		switch field {
		case "id":
			id = value
		case "event":
			event = value
		case "data":
			data += value
		}
		if lines.Text() != "" || data == "" {
			continue
		}
		if event == "publication" {
			var m pb.WatchLogResponse
			if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal([]byte(data), &m); err != nil {
				return fmt.Errorf("server sends an event that is none: %w", err)
			}
			// A large publication is written when all of it is there, so that none of it is
			// written twice.
			if part = append(part, m.Entries...); !m.Continues {
				if f.broken = f.write(f.out, part); f.broken != nil {
					return f.broken
				}
				part = nil
			}
		}
		if id != "" {
			f.last = id
		}
		id, event, data = "", "", ""
	}
	return lines.Err()
}
