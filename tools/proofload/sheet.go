package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/sheet"
)

func sheetCommand() *command {
	return &command{
		name: "sheet", args: "PROCEDURE", summary: "print a procedure: torques in order of use, pick lists, cautions, room to initial",
		examples: []string{
			"proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf --demo",
			"proofload sheet quill-1-rear-hub-bearing --side left --option rear_brake=disc --built 2018-W10 -o hub.pdf --demo   # refused where it is not for that vehicle",
			"proofload sheet dray-2-front-discs-and-pads --paper letter -o discs.pdf --demo",
			"proofload sheet pell-1-cylinder-head-refit -o head.html --demo",
			"proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf --library http://127.0.0.1:7450   # with a code that says whether it is still valid",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			asked := askedFlags(fs)
			side := fs.String("side", "", "left or right, where the procedure is done on one side")
			at := fs.String("at", "", "an older `MOMENT` of a server's library: position:N, time:RFC3339 or release:NAME")
			paper := fs.String("paper", string(sheet.A4), "A4 or letter, for PDF")
			out := fs.StringP("output", "o", "", "`FILE` to write, ending in .pdf or .html")
			date := fs.String("date", "", "the day printed on the sheet, today if absent")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("sheet takes one procedure, found %d arguments", len(args))
				}
				ext := strings.ToLower(filepath.Ext(*out))
				if ext != ".pdf" && ext != ".html" {
					return usagef("sheet needs -o FILE ending in .pdf or .html, found %q", *out)
				}
				printed := specdata.Date(*date)
				if printed == "" {
					printed = specdata.Date(time.Now().Format(time.DateOnly))
				}
				if _, err := printed.Time(); err != nil {
					return usagef("%v", err)
				}
				if isURL(*from) {
					query := url.Values{"format": {ext[1:]}, "paper": {*paper}, "options": asked.Stated.Options, "built": {asked.Stated.Built}, "printed": {string(printed)}, "vehicle": {asked.Vehicle}, "vin": {asked.VIN}, "side": {*side}, "at": {*at}}
					return sheetOfServer(ctx, e, *from, args[0], query, *out)
				}
				if *at != "" {
					return usagef("flag --at: a folder has no older moments; name a server with --library http://…")
				}
				lib, err := openLibrary(ctx, e, *from)
				if err != nil {
					return err
				}
				p, err := procedureNamed(lib, args[0])
				if err != nil {
					return err
				}
				s, err := sheet.New(lib, sheet.Request{Procedure: p.ID, Asked: *asked, Side: specdata.Side(*side), Printed: printed})
				if err = wanted(err); err != nil {
					return err
				}
				var b bytes.Buffer
				if ext == ".pdf" {
					err = s.PDF(&b, paperNamed(*paper))
				} else {
					err = s.HTML(&b)
				}
				var bad *sheet.Unprintable
				if errors.As(err, &bad) {
					return err // the record is at fault, and not the command line
				}
				if err != nil {
					return usagef("%v", err)
				}
				if err := os.WriteFile(*out, b.Bytes(), 0o644); err != nil {
					return fmt.Errorf("sheet %s cannot be written: %w", *out, reason(err))
				}
				fmt.Fprintf(e.stdout, "%s: %s, %s\n", *out, count(len(s.Torques), "tightening", "tightenings"), count(len(s.Steps), "step", "steps"))
				writeFor(e.stdout, s.For)
				return nil
			}
		},
	}
}

// paperNamed reads the name of a paper in any case.
func paperNamed(name string) sheet.Paper {
	for _, p := range []sheet.Paper{sheet.A4, sheet.Letter} {
		if strings.EqualFold(name, string(p)) {
			return p
		}
	}
	return sheet.Paper(name)
}

// sheetOfServer has the server print, which puts a code on the sheet.
func sheetOfServer(ctx context.Context, e *env, address, procedure string, query url.Values, out string) error {
	server, err := newRemote(address, e.getenv(tokenVariable))
	if err != nil {
		return err
	}
	maps.DeleteFunc(query, func(_ string, values []string) bool { return len(values) == 0 || values[0] == "" })
	id := strings.TrimPrefix(procedure, specdata.KindProcedure.Collection()+"/")
	body, header, err := server.get(ctx, "/v1/procedures/"+url.PathEscape(id)+"/sheet", query)
	if err != nil {
		return err
	}
	if err := os.WriteFile(out, body, 0o644); err != nil {
		return fmt.Errorf("sheet %s cannot be written: %w", out, reason(err))
	}
	fmt.Fprintf(e.stdout, "%s: as of position %s\n", out, header.Get("Proofload-Position"))
	link, _, ok := strings.Cut(strings.TrimPrefix(header.Get("Link"), "<"), ">")
	if !ok {
		return nil
	}
	code := link[strings.LastIndex(link, "/")+1:]
	body, _, err = server.get(ctx, "/v1/checks/"+code, nil)
	if err != nil {
		return err
	}
	var c pb.Check
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(body, &c); err != nil {
		return fmt.Errorf("check of sheet %s cannot be read: %w", code, err)
	}
	fmt.Fprintf(e.stdout, "is it still valid? %s\n", link)
	fmt.Fprintf(e.stdout, "FOR %s\nNOT FOR %s\n", c.GetForWhom().GetText(), c.GetForWhom().GetNotText())
	if c.State != "current" { // it was asked for at an older moment
		fmt.Fprintf(e.stdout, "*** OLD: %s\n", c.Summary)
	}
	return nil
}
