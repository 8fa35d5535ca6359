package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/proto"

	pb "proofload/api/proofload/v1"
	"proofload/server/ledger/personal"
	"proofload/specdata"
	"proofload/tools/lint/render"
)

func correctCommand() *command {
	const set = `proofload correct --set 'fasteners/quill-1-rear-carrier-bolt:/note=clean the thread first' --reason "sheet 2 says so" --token-file editor.token`
	return &command{
		name: "correct", args: "[FILE|FOLDER...] --reason TEXT", summary: "propose a correction to a server, and follow it until it is published",
		examples: []string{
			"proofload correct fasteners/quill-1-rear-hub-nut.yaml --reason \"sheet 3 has a remark\" --evidence \"sheet 3 row 2\" --token-file editor.token",
			set,
			"proofload correct list                          # what is on the desk",
			"proofload correct show fasteners/quill-1-rear-hub-nut   # by its id, or by a record it changes",
			"proofload correct publish fasteners/quill-1-rear-hub-nut --token-file reviewer.token",
		},
		notes: []string{
			"Nothing is published by proposing it: another person reviews it (proofload review). The\nserver judges it with the same rules as proofload lint; findings are kept with it, and\nerrors block it. Exit code 1 says that some do.",
			"A correction says which published state it was made against (--base). Where others changed\nthe same record meanwhile, different fields go together and the same field is refused.",
		},
		setup: proposeSetup,
		sub: []*command{
			{name: "list", summary: "corrections, the newest first", setup: listSetup("")},
			{name: "show", args: "CORRECTION", summary: "what a correction changes, its findings and its reach", setup: showSetup(false)},
			{name: "amend", args: "CORRECTION [FILE...]", summary: "change what a correction says; approvals fall", setup: amendSetup},
			{name: "recheck", args: "CORRECTION", summary: "carry it over to the newest records and judge it again", setup: recheckSetup},
			{name: "sign", args: "CORRECTION --sign-with FILE", summary: "sign your own correction with a key of your own", setup: signSetup},
			{name: "withdraw", args: "CORRECTION", summary: "take back your own correction", setup: withdrawSetup},
			{name: "publish", args: "CORRECTION", summary: "publish an approved correction (role reviewer)", setup: publishSetup},
		},
	}
}

func proposeSetup(fs *pflag.FlagSet) action {
	var d edits
	d.flags(fs)
	why := fs.String("reason", "", "why, in a sentence that readers of the history understand")
	evidence := fs.StringArray("evidence", nil, "what it rests on: a page, a measurement, a link; may be repeated")
	dryRun := fs.Bool("dry-run", false, "judge it and keep nothing")
	signWith := signFlag(fs)
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		if d.none(args) {
			return usagef("correct takes files of records, --set, --unset or --withdraw; proofload help correct shows examples")
		}
		if strings.TrimSpace(*why) == "" {
			return usagef("correct needs --reason TEXT; it is kept with the record for good")
		}
		key, err := readKey(*signWith)
		if err != nil {
			return err
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		changes, err := d.work(ctx, e, s, args, nil)
		if err != nil {
			return refused(e, err)
		}
		if len(changes) == 0 {
			_, err := fmt.Fprintln(e.stdout, "nothing to propose: every record is as published")
			return stdoutError(err)
		}
		query := url.Values{}
		if *dryRun {
			query.Set("validate_only", "true")
		}
		var out pb.Correction
		if err := s.call(ctx, http.MethodPost, "/v1/corrections", query, &pb.Correction{Changes: changes, Reason: *why, Evidence: *evidence}, &out); err != nil {
			return refused(e, err)
		}
		if err := s.answer(e, &out, nil); key == nil || *dryRun || err != nil {
			return err
		}
		if err := asProposed(changes, &out); err != nil {
			return err
		}
		if _, err := s.sign(ctx, e, key, personal.Author, &out); err != nil {
			return refused(e, err)
		}
		return nil
	}
}

// answer shows a correction that was proposed or changed, and what comes next.
func (s *server) answer(e *env, c *pb.Correction, reach *pb.CorrectionReach) error {
	if err := stdoutError(writeCorrection(e.stdout, c, reach)); err != nil {
		return err
	}
	return s.close(e, c)
}

// close says what comes next, and whether something blocks it.
func (s *server) close(e *env, c *pb.Correction) error {
	if next := s.next(c); next != "" {
		if _, err := fmt.Fprintf(e.stdout, "\n%s\n", next); err != nil {
			return stdoutError(err)
		}
	}
	if c.State == "open" && c.GetFindings().GetBlocking() > 0 {
		return errFindings
	}
	return nil
}

// next says what has to happen next, and by what command.
func (s *server) next(c *pb.Correction) string {
	id := strings.TrimPrefix(c.Name, "corrections/")
	switch {
	case c.Name == "":
		return "judged only: nothing was kept"
	case c.State == "open" && c.GetFindings().GetBlocking() > 0:
		return fmt.Sprintf("next: mend what blocks it\n  proofload correct amend %s --set NAME:POINTER=VALUE --server %s", id, s.named)
	case c.State == "open" && s.reviewing:
		return fmt.Sprintf("next: look the value up in its source, then\n  proofload review approve %s --content %s --server %s", id, c.ContentHash, s.named)
	case c.State == "open":
		return fmt.Sprintf("next: another person reviews it\n  proofload review show %s --server %s", id, s.named)
	case c.State == "approved":
		return fmt.Sprintf("next: publish it\n  proofload correct publish %s --server %s", id, s.named)
	}
	return ""
}

// find returns a correction by its id, or by a record that one open or approved
// correction changes.
func (s *server) find(ctx context.Context, args []string) (*pb.Correction, error) {
	if len(args) == 0 {
		return nil, usagef("name a correction by its id, or by a record that it changes; proofload correct list shows them")
	}
	ref := strings.TrimPrefix(args[0], "corrections/")
	if name, err := specdata.ParseName(ref); err == nil {
		var going []*pb.Correction
		for _, state := range []string{"open", "approved"} {
			var page pb.ListCorrectionsResponse
			if err := s.call(ctx, http.MethodGet, "/v1/corrections", url.Values{"record": {string(name)}, "state": {state}}, nil, &page); err != nil {
				return nil, err
			}
			going = append(going, page.Corrections...)
		}
		switch len(going) {
		case 0:
			return nil, usagef("record %s has no correction that is open or approved; proofload correct list --state \"\" --record %s shows older ones", name, name)
		case 1:
			return going[0], nil
		}
		var ids []string
		for _, c := range going {
			ids = append(ids, strings.TrimPrefix(c.Name, "corrections/"))
		}
		return nil, usagef("record %s has %d corrections; name one of %s", name, len(going), strings.Join(ids, ", "))
	}
	if strings.ContainsAny(ref, "/?#% ") || ref == "" {
		return nil, usagef("%q is neither the id of a correction nor the name of a record", ref)
	}
	var c pb.Correction
	return &c, s.call(ctx, http.MethodGet, "/v1/corrections/"+ref, nil, nil, &c)
}

// listSetup lists corrections of one state, or of the one a flag says where it is "".
func listSetup(only string) func(*pflag.FlagSet) action {
	return func(fs *pflag.FlagSet) action {
		state := only
		if only == "" {
			fs.StringVar(&state, "state", "open", "`STATE`: open, approved, published, rejected, withdrawn, or \"\" for any")
		}
		record := fs.String("record", "", "only those that change the record `NAME`")
		to := addServerFlags(fs)
		return func(ctx context.Context, e *env, args []string) error {
			if len(args) > 0 {
				return usagef("list takes no arguments")
			}
			s, err := to.connect(e)
			if err != nil {
				return err
			}
			query := url.Values{"page_size": {"100"}, "state": {state}, "record": {*record}}
			for n := 0; ; {
				var page pb.ListCorrectionsResponse
				if err := s.call(ctx, http.MethodGet, "/v1/corrections", query, nil, &page); err != nil {
					return refused(e, err)
				}
				for _, c := range page.Corrections {
					n++
					if err := writeLine(e.stdout, c); err != nil {
						return stdoutError(err)
					}
				}
				if page.NextPageToken == "" {
					if n == 0 {
						_, err = fmt.Fprintln(e.stdout, "no corrections")
					}
					return stdoutError(err)
				}
				query.Set("page_token", page.NextPageToken)
			}
		}
	}
}

// showSetup shows a correction, to a reviewer with the command to decide with.
func showSetup(reviewing bool) func(*pflag.FlagSet) action {
	return func(fs *pflag.FlagSet) action {
		to := addServerFlags(fs)
		return func(ctx context.Context, e *env, args []string) error {
			s, err := to.connect(e)
			if err != nil {
				return err
			}
			s.reviewing = reviewing
			c, reach, err := s.whole(ctx, e, args)
			if err != nil {
				return refused(e, err)
			}
			return s.answer(e, c, reach)
		}
	}
}

// whole returns a correction with its reach, where it can be told.
func (s *server) whole(ctx context.Context, e *env, args []string) (*pb.Correction, *pb.CorrectionReach, error) {
	if len(args) > 1 {
		return nil, nil, usagef("name one correction, found %d arguments", len(args))
	}
	c, err := s.find(ctx, args)
	whole := c.GetReach() != nil && leftOut(c.Reach) == 0
	if err != nil || whole || c.Reach == nil && c.State != "open" && c.State != "approved" {
		return c, c.GetReach(), err
	}
	reach, err := s.reach(ctx, c.Name)
	var r *refusal
	if errors.As(err, &r) && r.Status < 500 {
		fmt.Fprintf(e.stderr, "proofload: reach is not known: %s\n", render.Clean(r.Detail))
		return c, nil, nil
	}
	return c, reach, err
}

// leftOut counts what the lists of a reach do not hold.
func leftOut(r *pb.CorrectionReach) int32 {
	return r.GetProceduresLeftOut() + r.GetReleasesLeftOut() + r.GetSheetsLeftOut() + r.GetReadersLeftOut()
}

// reach returns the whole reach of a correction, from as many pages as it has.
func (s *server) reach(ctx context.Context, name string) (*pb.CorrectionReach, error) {
	var all *pb.CorrectionReach
	for token := ""; ; {
		var page pb.CorrectionReach
		if err := s.call(ctx, http.MethodGet, "/v1/"+name+"/reach", url.Values{"page_token": {token}}, nil, &page); err != nil {
			return nil, err
		}
		token = page.NextPageToken
		if all == nil {
			all = &page
		} else {
			all.Procedures, all.Releases = append(all.Procedures, page.Procedures...), append(all.Releases, page.Releases...)
			all.Sheets, all.Readers = append(all.Sheets, page.Sheets...), append(all.Readers, page.Readers...)
		}
		all.ProceduresLeftOut, all.ReleasesLeftOut, all.SheetsLeftOut, all.ReadersLeftOut = page.ProceduresLeftOut, page.ReleasesLeftOut, page.SheetsLeftOut, page.ReadersLeftOut
		if token == "" {
			return all, nil
		}
	}
}

// change sends a request about a correction and shows what became of it.
func (s *server) change(ctx context.Context, e *env, c *pb.Correction, verb string, in proto.Message) error {
	var out pb.Correction
	if err := s.call(ctx, http.MethodPost, "/v1/"+c.Name+":"+verb, nil, in, &out); err != nil {
		return refused(e, err)
	}
	switch verb {
	case "amend", "recheck": // what it says may be new
		return s.answer(e, &out, out.Reach)
	}
	if err := stdoutError(writeOutcome(e.stdout, &out)); err != nil {
		return err
	}
	return s.close(e, &out)
}

func amendSetup(fs *pflag.FlagSet) action {
	var d edits
	d.flags(fs)
	drop := fs.StringArray("drop", nil, "take the record `NAME` out of the correction; may be repeated")
	why := fs.String("reason", "", "another reason; the old one stays if absent")
	evidence := fs.StringArray("evidence", nil, "other evidence; the old stays if absent")
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) == 0 || d.none(args[1:]) && len(*drop)+len(*evidence) == 0 && *why == "" {
			return usagef("correct amend takes a correction, and files, --set, --unset, --withdraw, --drop, --reason or --evidence")
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		c, err := s.find(ctx, args[:1])
		if err != nil {
			return refused(e, err)
		}
		known := map[string]*pb.CorrectedRecord{}
		for _, r := range c.Records {
			known[r.Record] = r
		}
		changes, err := d.work(ctx, e, s, args[1:], known)
		if err != nil {
			return refused(e, err)
		}
		for _, name := range *drop {
			changes = append(changes, &pb.CorrectionChange{Record: name, Drop: true})
		}
		return s.change(ctx, e, c, "amend", &pb.AmendCorrectionRequest{Etag: c.Etag, Changes: changes, Reason: *why, Evidence: *evidence})
	}
}

// about makes the action of a command that sends one request about one correction.
func about(to *serverFlags, verb string, request func(c *pb.Correction) proto.Message) action {
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 1 {
			return usagef("%s takes one correction, found %d arguments", verb, len(args))
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		c, err := s.find(ctx, args)
		if err != nil {
			return refused(e, err)
		}
		return s.change(ctx, e, c, verb, request(c))
	}
}

func recheckSetup(fs *pflag.FlagSet) action {
	return about(addServerFlags(fs), "recheck", func(*pb.Correction) proto.Message { return &pb.RecheckCorrectionRequest{} })
}

func withdrawSetup(fs *pflag.FlagSet) action {
	comment := fs.String("comment", "", "why, for the record")
	return about(addServerFlags(fs), "withdraw", func(c *pb.Correction) proto.Message {
		return &pb.WithdrawCorrectionRequest{Etag: c.Etag, Comment: *comment}
	})
}

func publishSetup(fs *pflag.FlagSet) action {
	return about(addServerFlags(fs), "publish", func(c *pb.Correction) proto.Message { return &pb.PublishCorrectionRequest{Etag: c.Etag} })
}
