package main

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/tools/lint/render"
)

func tokenCommand() *command {
	return &command{
		name: "token", summary: "give tokens out and take them back, on a running server",
		examples: []string{
			"proofload token add --name \"Una Birk\" --role editor --token-file admin.token",
			"proofload token list --token-file admin.token",
			"proofload token revoke ID --token-file admin.token",
		},
		notes: []string{
			"The first tokens are printed when the store is new. Everything here takes a token with\nthe role admin; where none is left, stop the server and run: go run ./server token add",
			"Roles: reader reads, editor proposes corrections, reviewer approves and publishes them,\nadmin does this. Nobody approves what they wrote, whatever their roles.",
		},
		sub: []*command{
			{name: "add", args: "--name NAME --role ROLE[,ROLE]", summary: "give a person a token; it is shown this once", setup: tokenAdd},
			{name: "list", summary: "every token ever given, without its secret", setup: tokenList},
			{name: "revoke", args: "ID", summary: "make a token worthless at once", setup: tokenRevoke},
		},
	}
}

func tokenAdd(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	name := fs.String("name", "", "the person, as revisions will name them")
	roles := fs.StringSlice("role", nil, "one or more of reader, editor, reviewer, admin")
	until := fs.String("until", "", "`DATE` on which it ends, like 2027-06-30; without it, it does not")
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) > 0 || *name == "" || len(*roles) == 0 {
			return usagef("token add needs --name NAME and --role ROLE, and takes no arguments")
		}
		in := &pb.Token{Person: *name, Roles: *roles}
		if *until != "" {
			day, err := time.Parse(time.DateOnly, *until)
			if err != nil {
				return usagef("flag --until: %q is no date; write it like 2027-06-30", *until)
			}
			in.ExpireTime = timestamppb.New(day)
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		var out pb.Token
		if err := s.call(ctx, http.MethodPost, "/v1/tokens", nil, in, &out); err != nil {
			return refused(e, err)
		}
		fmt.Fprintf(e.stderr, "proofload: %s of %s; the token is shown this once\n", render.Clean(out.Name), render.Clean(out.Person))
		_, err = fmt.Fprintln(e.stdout, out.Secret)
		return stdoutError(err)
	}
}

func tokenList(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) > 0 {
			return usagef("token list takes no arguments")
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		query := url.Values{"page_size": {"1000"}}
		for {
			var page pb.ListTokensResponse
			if err := s.call(ctx, http.MethodGet, "/v1/tokens", query, nil, &page); err != nil {
				return refused(e, err)
			}
			for _, t := range page.Tokens {
				if _, err := fmt.Fprintf(e.stdout, "%s  %-24s %s\n", strings.TrimPrefix(t.Name, "tokens/"), render.Clean(t.Person), strings.Join(t.Roles, ",")+standing(e, t)); err != nil {
					return stdoutError(err)
				}
			}
			if page.NextPageToken == "" {
				return nil
			}
			query.Set("page_token", page.NextPageToken)
		}
	}
}

// standing says why a token does not work, or when it will not any more.
func standing(e *env, t *pb.Token) string {
	switch {
	case t.RevokeTime != nil:
		return ", revoked " + t.RevokeTime.AsTime().Format(time.DateOnly)
	case t.ExpireTime == nil:
		return ""
	case t.ExpireTime.AsTime().Before(e.now()):
		return ", expired " + t.ExpireTime.AsTime().Format(time.DateOnly)
	}
	return ", until " + t.ExpireTime.AsTime().Format(time.DateOnly)
}

func tokenRevoke(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 1 {
			return usagef("token revoke takes the id of one token, as token list shows it")
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		var out pb.Token
		if err := s.call(ctx, http.MethodPost, "/v1/tokens/"+strings.TrimPrefix(args[0], "tokens/")+":revoke", nil, &pb.RevokeTokenRequest{}, &out); err != nil {
			return refused(e, err)
		}
		_, err = fmt.Fprintf(e.stdout, "%s of %s is revoked\n", render.Clean(out.Name), render.Clean(out.Person))
		return stdoutError(err)
	}
}
