package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/sheet"
)

func sheetCommand() *command {
	return &command{
		name: "sheet", args: "PROCEDURE", summary: "print a procedure: torques in order of use, pick lists, cautions, room to initial",
		examples: []string{
			"proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf",
			"proofload sheet dray-2-front-discs-and-pads --paper letter -o discs.pdf",
			"proofload sheet pell-1-cylinder-head-refit -o head.html",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			vehicle := fs.String("vehicle", "", "the vehicle's `ID`, where the procedure is for several")
			side := fs.String("side", "", "left or right, where the procedure is done on one side")
			where := fs.StringSlice("option", nil, "an option of the vehicle as `KEY=VALUE`, where the procedure asks; repeatable")
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
				options := map[string]string{}
				for _, o := range *where {
					k, v, ok := strings.Cut(o, "=")
					if !ok {
						return usagef("option %q is not KEY=VALUE", o)
					}
					options[k] = v
				}
				printed := specdata.Date(*date)
				if printed == "" {
					printed = specdata.Date(time.Now().Format(time.DateOnly))
				}
				if _, err := printed.Time(); err != nil {
					return usagef("%v", err)
				}
				lib, err := openLibrary(ctx, e, *from)
				if err != nil {
					return err
				}
				p, err := procedureNamed(lib, args[0])
				if err != nil {
					return err
				}
				s, err := sheet.New(lib, sheet.Request{Procedure: p.ID, Vehicle: *vehicle, Where: options, Side: specdata.Side(*side), Printed: printed})
				if err != nil {
					return usagef("%v", err)
				}
				var b bytes.Buffer
				if ext == ".pdf" {
					err = s.PDF(&b, sheet.Paper(*paper))
				} else {
					err = s.HTML(&b)
				}
				if err != nil {
					return usagef("%v", err)
				}
				if err := os.WriteFile(*out, b.Bytes(), 0o644); err != nil {
					return fmt.Errorf("sheet %s cannot be written: %w", *out, reason(err))
				}
				fmt.Fprintf(e.stdout, "%s: %d tightenings, %d steps\n", *out, len(s.Torques), len(s.Steps))
				return nil
			}
		},
	}
}
