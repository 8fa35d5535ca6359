package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"proofload/server/access"
	"proofload/server/catalog"
	"proofload/server/notary"
	"proofload/server/store/guard"
	"proofload/server/trail"
	"proofload/specdata"
)

// givenToken is a token whose secret is about to be shown.
type givenToken struct {
	access.Person
	secret string
}

// firstTokens returns out the tokens of a new store, none where they were given before.
func firstTokens(ctx context.Context, keys *access.Keys, cat *catalog.Catalog) ([]givenToken, error) {
	people := []access.Person{{Name: "Editor", Role: access.Editor}, {Name: "Reviewer", Role: access.Reviewer}, {Name: "Administrator", Role: access.Admin}}
	if _, isDemo, err := first(ctx, cat, specdata.KindVehicle); err != nil {
		return nil, err
	} else if isDemo { // invented people for invented data
		people[0].Name, people[1].Name, people[2].Name = "Maud Ibbot", "Piet Oram", "Runa Estby"
	}
	secrets, err := keys.First(ctx, people...)
	var out []givenToken
	for i := range secrets {
		out = append(out, givenToken{people[i], secrets[i]})
	}
	return out, err
}

// greetTokens shows the tokens of a new store.
func greetTokens(out io.Writer, tokens []givenToken) {
	if len(tokens) == 0 {
		return
	}
	fmt.Fprint(out, "\nTokens of this new store. They are shown this once; reading on this machine needs none:\n\n")
	for _, t := range tokens {
		fmt.Fprintf(out, "  %-8s  %s  %s\n", t.Role, t.secret, t.Name)
	}
}

// token manages the tokens of a store that no server has open: for the day the last
// administrator's token is lost. A running server is asked with proofload token.
func token(ctx context.Context, args []string, out io.Writer) error {
	usage := misuse{errors.New("token takes add, list or revoke: go run ./server token add --name NAME --role ROLE; with a server running use proofload token")}
	if len(args) == 0 {
		return usage
	}
	flags := flag.NewFlagSet("token "+args[0], flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	store := flags.String("store", defaultStore, "`store` of the records, sqlite:FILE or postgres://USER@HOST/DATABASE")
	name := flags.String("name", "", "the person, as revisions will name them")
	role := flags.String("role", "", "one or more of reader, editor, reviewer, admin, with commas between")
	id := flags.String("id", "", "id of the token to revoke")
	if err := flags.Parse(args[1:]); err != nil || flags.NArg() > 0 {
		return errors.Join(usage, err)
	}
	s, _, err := atConsole(ctx, []string{"--store", *store}, out)
	if err != nil {
		return err
	}
	defer s.Close()
	keys := access.NewKeys(trail.New(s, slog.New(slog.DiscardHandler)), time.Now)
	switch args[0] {
	case "add":
		var roles []access.Role
		for _, r := range strings.Split(*role, ",") {
			roles = append(roles, access.Role(strings.TrimSpace(r)))
		}
		secret, t, err := keys.Issue(ctx, *name, roles, time.Time{})
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s, shown this once:\n%s\n", t, secret)
	case "list":
		all, err := keys.List(ctx)
		if err != nil {
			return err
		}
		for _, t := range all {
			state := "valid"
			if !t.Revoked.IsZero() {
				state = "revoked " + t.Revoked.Format(time.DateOnly)
			} else if !t.Expires.IsZero() {
				state = "until " + t.Expires.Format(time.DateOnly)
			}
			fmt.Fprintf(out, "%s  %s  %v  %s\n", t.ID, t.Person, t.Roles, state)
		}
	case "revoke":
		t, err := keys.Revoke(ctx, *id)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s is revoked\n", t)
	default:
		return usage
	}
	return nil
}

// atConsole opens a store that no server has open.
func atConsole(ctx context.Context, args []string, out io.Writer) (*guard.Store, config, error) {
	c, err := parse(append(args, "--empty"), out, os.LookupEnv)
	if err != nil {
		return nil, c, err
	}
	if file, ok := c.store.File(); ok {
		if _, err := os.Stat(file); err != nil {
			return nil, c, fmt.Errorf("--store %s cannot be opened: %w", c.store, withoutPath(err))
		}
	}
	c.create = false
	s, err := open(ctx, c, slog.New(slog.DiscardHandler))
	return s, c, err
}

// rotateKey sets another signing key for a library; the present one hands over to it. The
// flags are those of the server, of which --store, --key and --mark matter.
func rotateKey(ctx context.Context, args []string, out io.Writer) error {
	if len(args) == 0 || args[0] != "rotate" {
		return errors.New("key takes rotate, with the server stopped: go run ./server key rotate --store STORE [--key FILE]")
	}
	s, c, err := atConsole(ctx, args[1:], out)
	if err != nil {
		return err
	}
	defer s.Close()
	signed, err := notary.Rotate(ctx, trail.New(s, slog.New(slog.DiscardHandler)), notary.Options{Origin: c.origin, KeyFile: c.key}, time.Now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "the library signs with another key from now on; who keeps the old one follows by this note, which the server tells, too:\n\n%s", signed)
	return err
}
