package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/server/job"
)

func jobCommand() *command {
	return &command{
		name: "job", summary: "open jobs: a procedure being done on one vehicle, on a running server",
		examples: []string{
			"proofload job open quill-1-rear-hub-bearing --vehicle quill-1 --option rear_brake=disc --built 2018-W10 --side left --token-file my.token",
			"proofload job show JOB --token-file my.token",
			"proofload job tick JOB 1 --token-file my.token",
			"proofload job reached JOB 15 quill-1-rear-hub-nut 1 \"240 N.m\" --token-file my.token",
			"proofload job stop JOB --because \"end of shift\" --token-file my.token",
			"proofload job moved --token-file my.token",
		},
		notes: []string{
			"What is off, loose or open is worked out by the dry run from what was ticked; nobody types\nit. A tick that the state forbids is refused (exit 1); --because TEXT overrides it and stays\nvisible on the job.",
			"JOB stands for the id that job open prints in its first line, THING for what job show prints in\nbrackets.",
			"Every command needs a token, of any role; erase needs one with the role admin.",
		},
		sub: []*command{
			{name: "open", args: "PROCEDURE", summary: "open a job for one decided variant", setup: jobOpen},
			{name: "list", summary: "the jobs, the newest first", setup: jobList},
			{name: "show", args: "JOB", summary: "its steps, what is open, what comes next", setup: jobShow},
			{name: "tick", args: "JOB STEP", summary: "say that a step is done", setup: record("tick", "ticked", "STEP")},
			{name: "skip", args: "JOB STEP --because TEXT", summary: "leave a step out", setup: record("skip", "skipped", "STEP")},
			{name: "undo", args: "JOB STEP", summary: "take a tick back", setup: record("undo", "undone", "STEP")},
			{name: "reached", args: "JOB STEP FASTENER PIECE VALUE", summary: "enter the value a piece reached, or clicked", setup: record("reached", "reached", "STEP", "FASTENER", "PIECE", "VALUE")},
			{name: "measured", args: "JOB STEP NUMBER VALUE", summary: "enter a measured value; NUMBER counts the measurements of the step", setup: record("measured", "measured", "STEP", "PIECE", "VALUE")},
			{name: "wrench", args: "JOB NUMBER DATE", summary: "assign a torque wrench, with the last day its calibration holds", setup: record("wrench", "wrench", "WRENCH", "DATE")},
			{name: "answer", args: "JOB THING --because TEXT", summary: "say what was done about a value outside its band or limit; --new-piece TEXT names the new piece", setup: record("answer", "answered", "THING")},
			{name: "note", args: "JOB --because TEXT", summary: "keep a remark", setup: record("note", "noted")},
			{name: "photo", args: "JOB SHA-256", summary: "keep the hash of a picture", setup: record("photo", "photo", "PHOTO")},
			{name: "stop", args: "JOB", summary: "stop, and print the tag for the steering wheel", setup: record("stop", "stopped")},
			{name: "take-over", args: "JOB THING...", summary: "take a stopped job over; each open thing is confirmed", setup: record("take-over", "taken-over", "THINGS")},
			{name: "done", args: "JOB THING --because TEXT", summary: "say that a follow-up is done, or who was told of a value that moved", setup: record("done", "followed-up", "THING")},
			{name: "close", args: "JOB", summary: "close a job with nothing open", setup: record("close", "closed")},
			{name: "reopen", args: "JOB", summary: "open a closed job again", setup: record("reopen", "reopened")},
			{name: "tag", args: "JOB", summary: "what stands on the tag of a vehicle that work has stopped on", setup: jobTag},
			{name: "moved", args: "[RECORD]", summary: "what jobs made to a value that has moved since, the worst first", setup: jobMoved},
			{name: "export", args: "JOB -o FILE", summary: "write a job as a file that can be verified without a server", setup: jobExport},
			{name: "verify", args: "FILE", summary: "check such a file: its events, their tree, their texts", setup: jobVerify},
			{name: "erase", args: "JOB people|vehicle|text", summary: "erase names, the vehicle's identity or free texts; the proof stays whole", setup: jobErase},
		},
	}
}

func jobPath(id string) string { return "/v1/jobs/" + url.PathEscape(strings.TrimPrefix(id, "jobs/")) }

func jobOpen(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	in := &pb.Job{}
	fs.StringVar(&in.Vehicle, "vehicle", "", "id of the vehicle; --vin may tell it")
	fs.StringArrayVar(&in.Options, "option", nil, "`KEY=VALUE` of the vehicle, as often as needed")
	fs.StringVar(&in.Built, "built", "", "when it was built: a day, a week or a production number")
	fs.StringVar(&in.Side, "side", "", "left or right, where the procedure is done on one side")
	fs.StringVar(&in.Plate, "plate", "", "registration plate; can be erased later")
	fs.StringVar(&in.Vin, "vin", "", "vehicle identification number; can be erased later")
	fs.StringVar(&in.Odometer, "odometer", "", "odometer as read; can be erased later")
	fs.StringVar(&in.Order, "order", "", "number of the order in the shop's books")
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 1 {
			return usagef("job open takes one procedure, found %d arguments", len(args))
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		in.Procedure = "procedures/" + strings.TrimPrefix(args[0], "procedures/")
		var out pb.Job
		if err := s.call(ctx, http.MethodPost, "/v1/jobs", nil, in, &out); err != nil {
			return refused(e, err)
		}
		return stdoutError(writeJob(e, &out))
	}
}

// writeJob shows a job: for what it is, its steps, what is open, what comes next.
func writeJob(e *env, j *pb.Job) error {
	p := page{w: e.stdout}
	p.line("%s  %s  %s", strings.TrimPrefix(j.Name, "jobs/"), j.State, j.Title)
	p.forWhom(j.GetForWhom())
	p.line("made to the library at position %d", j.Position)
	for _, st := range j.Steps {
		mark := " "
		switch {
		case st.Ticked:
			mark = "x"
		case st.Skipped != "":
			mark = "-"
		case st.Number == j.Next:
			mark = ">"
		}
		p.line("%s %2d  %s", mark, st.Number, st.Reading)
		for _, x := range st.Joints {
			var reached []string
			for _, piece := range x.Pieces {
				switch {
				case !piece.Entered:
					reached = append(reached, "–")
				case piece.Value == "":
					reached = append(reached, "clicked")
				default:
					reached = append(reached, piece.Value)
				}
				if len(piece.Was) > 0 {
					reached[len(reached)-1] += " (was " + strings.Join(piece.Was, ", ") + ")"
				}
			}
			p.line("      %s %s%s: %s", strings.TrimPrefix(x.Fastener, "fasteners/"), x.Value, before(", ", x.StageText), strings.Join(reached, ", "))
		}
		for _, l := range st.Limits {
			p.line("      measure %d: %s%s%s", l.Number, l.Text, before(", measured ", l.Value), before(", was ", strings.Join(l.Was, ", ")))
		}
		if st.Forbade != "" {
			p.line("      ticked against: %s; because %s (%s)", st.Forbade, st.Reason, st.By)
		}
	}
	p.line("")
	writeOpen(&p, j)
	return p.err
}

func before(mark, text string) string {
	if text == "" {
		return ""
	}
	return mark + text
}

// answered says how a value outside its band or limit was closed, and by whom.
func answered(a *pb.JobAnswer) string {
	var parts []string
	if a.NewPiece != "" {
		parts = append(parts, "new piece: "+a.NewPiece)
	}
	if a.Reason != "" {
		parts = append(parts, a.Reason)
	}
	return fmt.Sprintf("%s (%s)", strings.Join(parts, "; "), a.By)
}

func writeOpen(p *page, j *pb.Job) {
	if len(j.Open) == 0 {
		p.line("nothing is off, loose or open")
	}
	for _, t := range j.Open {
		p.line("open  %s  [%s]", t.Text, t.Id)
		if t.Answerable {
			p.line("      %s", t.Mend)
		}
	}
	for _, a := range j.Answered {
		p.line("was   %s; answered: %s", a.Text, answered(a))
	}
	if j.VehicleText != "" {
		p.line("vehicle: %s", j.VehicleText)
	}
	if j.Tag.GetNext() != "" {
		p.line("next: %s", j.Tag.Next)
	}
	for _, f := range j.FollowUps {
		due := "after the job"
		if f.Due != "" {
			due = f.Due
			if f.Guessed {
				due += " (the day is a guess)"
			}
		}
		if f.Done {
			due = "done: " + f.Answer
		}
		p.line("due   %s, %s  [%s]", f.Text, due, f.Id)
	}
}

func jobList(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	state := fs.String("state", "", "open, stopped or closed")
	of := fs.String("record", "", "jobs of a procedure, vehicle or fastener")
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) > 0 {
			return usagef("job list takes no arguments")
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		p := page{w: e.stdout}
		for token, n := "", 0; ; {
			q := url.Values{"state": {*state}, "record": {*of}, "page_token": {token}}
			var out pb.ListJobsResponse
			if err := s.call(ctx, http.MethodGet, "/v1/jobs", q, nil, &out); err != nil {
				return refused(e, err)
			}
			for _, j := range out.Jobs {
				n++
				p.line("%s  %-7s  %s  %s", strings.TrimPrefix(j.Name, "jobs/"), j.State, j.Vehicle, j.Title)
			}
			if token = out.NextPageToken; token == "" {
				if n == 0 {
					p.line("no job")
				}
				return stdoutError(p.err)
			}
		}
	}
}

// oneJob reads the job that the only argument names.
func oneJob(ctx context.Context, e *env, to *serverFlags, verb string, args []string) (*pb.Job, error) {
	if len(args) != 1 {
		return nil, usagef("job %s takes one job, found %d arguments", verb, len(args))
	}
	s, err := to.connect(e)
	if err != nil {
		return nil, err
	}
	var out pb.Job
	if err := s.call(ctx, http.MethodGet, jobPath(args[0]), nil, nil, &out); err != nil {
		return nil, refused(e, err)
	}
	return &out, nil
}

func jobShow(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		j, err := oneJob(ctx, e, to, "show", args)
		if err != nil {
			return err
		}
		return stdoutError(writeJob(e, j))
	}
}

func jobTag(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		j, err := oneJob(ctx, e, to, "tag", args)
		if err != nil {
			return err
		}
		return stdoutError(writeTag(e, j))
	}
}

func writeTag(e *env, j *pb.Job) error {
	p := page{w: e.stdout}
	p.line("%s", j.Tag.GetVerdict())
	p.line("%s, job %s", j.Title, strings.TrimPrefix(j.Name, "jobs/"))
	p.forWhom(j.GetForWhom())
	writeOpen(&p, j)
	if j.Tag.GetLeftBy() != "" {
		p.line("left by %s at %s%s", j.Tag.LeftBy, j.Tag.LeftTime.AsTime().UTC().Format("2006-01-02 15:04 UTC"), before(": ", j.Tag.Why))
	}
	for _, st := range j.Steps {
		if st.Forbade != "" {
			p.line("step %d was ticked against: %s; because %s (%s)", st.Number, st.Forbade, st.Reason, st.By)
		}
	}
	return p.err
}

// explained holds the kinds of event that are nothing without a text.
var explained = map[string]bool{"skipped": true, "answered": true, "noted": true, "followed-up": true}

// fitted holds the kinds of event that may name a new piece.
var fitted = map[string]bool{"answered": true, "reached": true, "measured": true}

// record makes the command of a name that records one kind of event; fields name its
// arguments after the job.
func record(name, kind string, fields ...string) func(*pflag.FlagSet) action {
	return func(fs *pflag.FlagSet) action {
		to := addServerFlags(fs)
		because := fs.String("because", "", "`TEXT`: the note, or the reason that overrides what the state forbids")
		renewed := new(string)
		if fitted[kind] {
			renewed = fs.String("new-piece", "", "`TEXT`: the new piece that was fitted")
		}
		return func(ctx context.Context, e *env, args []string) error {
			in := &pb.JobEvent{RequestId: requestID(), Kind: kind, Text: *because, NewPiece: *renewed}
			if err := fill(in, "job "+name, fields, args); err != nil {
				return err
			}
			if explained[kind] && strings.TrimSpace(*because) == "" && strings.TrimSpace(*renewed) == "" {
				return usagef("job %s needs --because TEXT%s; it is kept with the job", name, map[bool]string{true: ", or --new-piece TEXT"}[fitted[kind]])
			}
			s, err := to.connect(e)
			if err != nil {
				return err
			}
			var out pb.RecordJobResponse
			if err := s.call(ctx, http.MethodPost, jobPath(args[0])+":record", nil, &pb.RecordJobRequest{Events: []*pb.JobEvent{in}}, &out); err != nil {
				return refused(e, err)
			}
			if len(out.Events) == 1 && out.Events[0].Refused != "" {
				fmt.Fprintf(e.stderr, "proofload: refused: %s\n", out.Events[0].Refused)
				return errFindings
			}
			if kind == "stopped" {
				return stdoutError(writeTag(e, out.Job))
			}
			p := page{w: e.stdout}
			p.forWhom(out.Job.GetForWhom())
			writeOpen(&p, out.Job)
			return stdoutError(p.err)
		}
	}
}

// fill puts the arguments behind the job into an event.
func fill(in *pb.JobEvent, verb string, fields, args []string) error {
	many := len(fields) > 0 && fields[len(fields)-1] == "THINGS"
	if many {
		fields = fields[:len(fields)-1]
	}
	if len(args) < 1+len(fields) || !many && len(args) > 1+len(fields) {
		return usagef("%s takes %s, found %s", verb, strings.Join(append([]string{"JOB"}, fields...), " "), count(len(args), "argument", "arguments"))
	}
	for i, field := range fields {
		arg := args[i+1]
		switch field {
		case "STEP", "PIECE":
			n, err := strconv.ParseInt(arg, 10, 32)
			if err != nil {
				return usagef("%s: %s %q is not a whole number", verb, field, arg)
			}
			if field == "STEP" {
				in.Step = int32(n)
			} else {
				in.Piece = int32(n)
			}
		case "FASTENER":
			in.Fastener = "fasteners/" + strings.TrimPrefix(arg, "fasteners/")
		case "VALUE":
			if in.Kind == "reached" && arg == "clicked" {
				in.Clicked = true
			} else {
				in.Value = arg
			}
		case "WRENCH":
			in.Wrench = arg
		case "DATE":
			in.CalibratedUntil = arg
		case "THING":
			in.Thing = arg
		case "PHOTO":
			if sum, err := hex.DecodeString(arg); err != nil || len(sum) != sha256.Size || strings.ToLower(arg) != arg {
				return usagef("%s: %q is not a SHA-256 of 64 lower-case hex digits; sha256sum FILE prints that of a file", verb, arg)
			}
			in.PhotoHash = arg
		}
	}
	if many {
		in.Confirmed = args[1+len(fields):]
	}
	return nil
}

func jobMoved(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		q := url.Values{"page_size": {"999"}}
		switch len(args) {
		case 0:
		case 1:
			q.Set("record", args[0])
		default:
			return usagef("job moved takes one record at most, found %d arguments", len(args))
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		p := page{w: e.stdout}
		n := 0
		for {
			var out pb.ListMovedJobsResponse
			if err := s.call(ctx, http.MethodGet, "/v1/jobs:moved", q, nil, &out); err != nil {
				return refused(e, err)
			}
			for _, m := range out.Moved {
				n++
				p.line("%s  %s, %d made to %s, now %s: %s%s", strings.TrimPrefix(m.Job, "jobs/"), m.Title, m.Pieces, m.Was, m.Now, m.How, before(", safety: ", m.Safety))
				p.line("    FOR %s", m.GetForWhom().GetText())
				for _, a := range m.Answers {
					p.line("    %s: %s", a.By, a.Text)
				}
			}
			if out.NextPageToken == "" {
				break
			}
			q.Set("page_token", out.NextPageToken)
		}
		if n == 0 {
			p.line("no job was made to a value that has moved since")
		}
		return stdoutError(p.err)
	}
}

func jobExport(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	file := fs.StringP("output", "o", "", "`FILE` to write; without it, standard output")
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 1 {
			return usagef("job export takes one job, found %d arguments", len(args))
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		var out pb.JobExport
		if err := s.call(ctx, http.MethodGet, jobPath(args[0])+"/export", nil, nil, &out); err != nil {
			return refused(e, err)
		}
		raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(&out)
		if err != nil {
			return err
		}
		raw = append(raw, '\n')
		if *file == "" {
			_, err = e.stdout.Write(raw)
			return stdoutError(err)
		}
		if err := os.WriteFile(*file, raw, 0o600); err != nil {
			return pathError("job file", *file, err)
		}
		fmt.Fprintf(e.stdout, "%s: %s, root %s\n", *file, count(len(out.Leaves), "event", "events"), out.Root)
		return nil
	}
}

func jobVerify(fs *pflag.FlagSet) action {
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 1 {
			return usagef("job verify takes one file, found %d arguments", len(args))
		}
		raw, err := os.ReadFile(args[0])
		if err != nil {
			return pathError("job file", args[0], err)
		}
		var in pb.JobExport
		if err := protojson.Unmarshal(raw, &in); err != nil || in.Name == "" {
			return usagef("%s is no file of a job; proofload job export writes one", args[0])
		}
		x := &job.Exported{Job: strings.TrimSuffix(strings.TrimPrefix(in.Name, "jobs/"), "/export"), Size: len(in.Leaves), Root: in.Root, Leaves: in.Leaves}
		for _, t := range in.Texts {
			x.Texts = append(x.Texts, job.Text{Key: t.Key, What: t.What, Salt: t.Salt, Text: t.Text})
		}
		if err := x.Verify(); err != nil {
			fmt.Fprintf(e.stderr, "proofload: %v\n", err)
			return errFindings
		}
		if !strings.HasPrefix(in.SignedRoot, x.Statement()+"\n") {
			fmt.Fprintf(e.stderr, "proofload: job %s: what the library signed is not the root of these events\n", x.Job)
			return errFindings
		}
		p := page{w: e.stdout}
		p.line("%d events of job %s have the root %s, and every text that is there is the one that was sealed", x.Size, x.Job, x.Root)
		p.line("the signature itself is not checked here; it needs the library's key")
		return stdoutError(p.err)
	}
}

func jobErase(fs *pflag.FlagSet) action {
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 2 {
			return usagef("job erase takes JOB and one of people, vehicle, text; found %d arguments", len(args))
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		var out pb.Job
		if err := s.call(ctx, http.MethodPost, jobPath(args[0])+":erase", nil, &pb.EraseJobRequest{What: args[1]}, &out); err != nil {
			return refused(e, err)
		}
		p := page{w: e.stdout}
		p.line("erased: %s. The events and their proof stay whole: root %s", args[1], out.Root)
		return stdoutError(p.err)
	}
}
