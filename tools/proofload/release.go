package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"text/tabwriter"

	"github.com/spf13/pflag"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
)

func releaseCommand() *command {
	return &command{
		name: "release", args: "create|list", summary: "name a moment of a server's library, list the names",
		examples: []string{
			`proofload release create 2026-10 --note "October books" --token-file reviewer.token`,
			"proofload release create first-books --at position:1 --token-file reviewer.token",
			"proofload release list",
		},
		notes: []string{
			"A release is a name for a position. Every read takes it (at=release:2026-10), and so do diff and\nexport. A name is given once; naming the same position again changes nothing.",
			"Creating needs a token with the role reviewer or admin, in " + tokenVariable + " or --token-file.",
		},
		sub: []*command{releaseCreate(), releaseList()},
	}
}

func releaseCreate() *command {
	return &command{
		name: "create", args: "NAME", summary: "name the newest position, or the one of --at",
		setup: func(fs *pflag.FlagSet) action {
			flags := addServerFlags(fs)
			at := fs.String("at", "", "a `MOMENT` to name: position:N, time:RFC3339 or release:NAME; the newest if absent")
			note := fs.String("note", "", "what it is for")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("release create takes one name, found %d arguments", len(args))
				}
				if _, err := ask.At("--at", *at); err != nil {
					return usagef("%v", err)
				}
				s, err := flags.connect(e)
				if err != nil {
					return err
				}
				query := url.Values{"release_id": {args[0]}}
				if *at != "" {
					query.Set("at", *at)
				}
				var made pb.Release
				if err := s.call(ctx, http.MethodPost, "/v1/releases", query, &pb.Release{Note: *note}, &made); err != nil {
					return refused(e, err)
				}
				fmt.Fprintf(e.stdout, "%s is position %d, named by %s\n", made.Name, made.Position, made.Creator)
				return nil
			}
		},
	}
}

func releaseList() *command {
	return &command{
		name: "list", summary: "list the releases in order of position",
		setup: func(fs *pflag.FlagSet) action {
			flags := addServerFlags(fs)
			asJSON := fs.Bool("json", false, "write JSON")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 0 {
					return usagef("release list takes no argument, found %d", len(args))
				}
				s, err := flags.connect(e)
				if err != nil {
					return err
				}
				type row struct {
					Name     string `json:"name"`
					Position int64  `json:"position"`
					Note     string `json:"note,omitempty"`
					Creator  string `json:"creator"`
					Time     string `json:"create_time"`
				}
				rows := []row{}
				query := url.Values{"page_size": {"1000"}}
				for {
					var page pb.ListReleasesResponse
					if err := s.call(ctx, http.MethodGet, "/v1/releases", query, nil, &page); err != nil {
						return refused(e, err)
					}
					for _, r := range page.Releases {
						rows = append(rows, row{r.Name, r.Position, r.Note, r.Creator, r.CreateTime.AsTime().Format("2006-01-02T15:04:05Z")})
					}
					if page.NextPageToken == "" {
						break
					}
					query.Set("page_token", page.NextPageToken)
				}
				if *asJSON {
					enc := json.NewEncoder(e.stdout)
					enc.SetEscapeHTML(false)
					enc.SetIndent("", "  ")
					return stdoutError(enc.Encode(rows))
				}
				if len(rows) == 0 {
					fmt.Fprintln(e.stdout, "no releases yet; proofload release create NAME names the newest position")
					return nil
				}
				w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
				for _, r := range rows {
					fmt.Fprintf(w, "%s\tposition %d\t%s\t%s\t%s\n", r.Name, r.Position, r.Time, r.Creator, r.Note)
				}
				return stdoutError(w.Flush())
			}
		},
	}
}
