package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/narration"
	"proofload/specdata/whom"
)

func narrationCommand() *command {
	return &command{
		name: "narration", summary: "hold what a presenter says against a procedure; scripts, value callouts and chapters",
		sub: []*command{narrationCheckCommand(), narrationScriptCommand(), narrationCalloutsCommand(), narrationKeepCommand()},
	}
}

// spokenFor is a procedure as one narration is about it.
type spokenFor struct {
	lib       *library.Memory
	procedure *specdata.Procedure
	side      specdata.Side
}

// narrationFlags declares the flags that say what a narration is about, and returns what
// finds it.
func narrationFlags(fs *pflag.FlagSet) func(context.Context, *env) (*spokenFor, error) {
	from := libraryFlag(fs)
	asked := askedFlags(fs)
	name := fs.String("procedure", "", "the `PROCEDURE` that is shown")
	side := fs.String("side", "", "left or right, where the procedure is done on one side; otherwise the one said first")
	return func(ctx context.Context, e *env) (*spokenFor, error) {
		if *name == "" {
			return nil, usagef("flag --procedure is missing; name the procedure that is shown, like --procedure quill-1-rear-hub-bearing")
		}
		lib, err := openLibrary(ctx, e, *from)
		if err != nil {
			return nil, err
		}
		p, err := procedureNamed(lib, *name)
		if err != nil {
			return nil, err
		}
		if _, err := whom.Pick(lib, p, *asked); err != nil {
			return nil, wanted(err)
		}
		f := whom.OfProcedure(lib, p)
		if *side != "" {
			if *side, err = whom.SideOf(lib, p, *side); err != nil {
				return nil, wanted(err)
			}
			f = f.OnSide(*side)
		}
		writeFor(e.stderr, f)
		options := map[string]string{}
		for _, o := range asked.Stated.Options {
			key, value, _ := strings.Cut(o, "=")
			options[key] = value
		}
		return &spokenFor{lib, narration.Of(p, options), specdata.Side(*side)}, nil
	}
}

// transcript reads the bytes of a transcript, no more than one may have.
func transcript(file string) ([]byte, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("transcript %s cannot be read: %w", file, reason(err))
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, narration.MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("transcript %s cannot be read: %w", file, reason(err))
	}
	if info, err := f.Stat(); err == nil && info.Size() > narration.MaxBytes {
		return nil, fmt.Errorf("%s: transcript has %d bytes; allowed: %d; give the text track, not the video", file, info.Size(), narration.MaxBytes)
	}
	return data, nil
}

// check reads a transcript and holds it against the procedure.
func (s *spokenFor) check(file string) (*narration.Checked, error) {
	data, err := transcript(file)
	if err != nil {
		return nil, err
	}
	cues, err := narration.Read(file, data)
	if err != nil {
		return nil, err
	}
	return narration.Check(context.Background(), s.procedure, s.lib, lexicon.Default(), s.side, cues)
}

func narrationCheckCommand() *command {
	return &command{
		name: "check", args: "FILE", summary: "find wrong numbers, sides, tools, orders and what was left out in a transcript",
		examples: []string{
			"proofload narration check --procedure quill-1-rear-hub-bearing --side left --demo hub.txt",
			"proofload narration check --procedure quill-1-rear-hub-bearing --side left --demo --report json=- hub.txt",
			"proofload narration check --procedure quill-1-rear-hub-bearing --side left --demo --report sarif=hub.sarif hub.txt",
		},
		notes: []string{
			"The transcript is WebVTT (.vtt), SubRip (.srt) or plain text with [m:ss] marks (.txt), as people or speech recognisers write it.",
			"What contradicts the records is an error where it can hurt; silence means that nothing was found, not that all is right.",
		},
		setup: func(fs *pflag.FlagSet) action {
			open := narrationFlags(fs)
			reports := fs.StringArray("report", nil, "also write `FORMAT=FILE`: json, sarif or text; - is standard output; may be repeated")
			failOn := fs.String("fail-on", string(specdata.Error), "exit 1 at findings of this `SEVERITY` or worse: error, warning or advice")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("narration check takes one transcript, found %d arguments", len(args))
				}
				if specdata.Severity(*failOn).Rank() == 0 {
					return usagef("flag --fail-on: severity %q is none; allowed: error, warning, advice", *failOn)
				}
				for _, r := range *reports {
					if format, file, ok := strings.Cut(r, "="); !ok || file == "" || format != "json" && format != "sarif" && format != "text" {
						return usagef("flag --report: %q is not FORMAT=FILE with json, sarif or text; write it like json=report.json", r)
					}
				}
				s, err := open(ctx, e)
				if err != nil {
					return err
				}
				c, err := s.check(args[0])
				if err != nil {
					return err
				}
				if err := reportNarration(e, s, args[0], c, *reports); err != nil {
					return err
				}
				for _, f := range c.Findings {
					if f.Severity.Rank() >= specdata.Severity(*failOn).Rank() {
						return errFindings
					}
				}
				return nil
			}
		},
	}
}

func reportNarration(e *env, s *spokenFor, file string, c *narration.Checked, reports []string) error {
	toScreen := false
	for _, r := range reports {
		format, to, _ := strings.Cut(r, "=")
		var b bytes.Buffer
		var err error
		switch format {
		case "json":
			err = narration.JSON(&b, file, s.procedure, c)
		case "sarif":
			err = narration.SARIF(&b, file, c)
		default:
			err = narration.Text(&b, file, c)
		}
		if err != nil {
			return err
		}
		if to == "-" {
			toScreen = true
			_, err = e.stdout.Write(b.Bytes())
		} else {
			err = os.WriteFile(to, b.Bytes(), 0o644)
		}
		if err != nil {
			return fmt.Errorf("report %s cannot be written: %w", to, reason(err))
		}
	}
	if toScreen {
		return nil
	}
	return narration.Text(e.stdout, file, c)
}

func narrationScriptCommand() *command {
	return &command{
		name: "script", summary: "write a first script of a procedure, in plain spoken English with [m:ss] marks",
		examples: []string{
			"proofload narration script --procedure quill-1-rear-hub-bearing --demo -o hub.txt",
		},
		setup: func(fs *pflag.FlagSet) action {
			open := narrationFlags(fs)
			out := fs.StringP("output", "o", "", "`FILE` to write instead of standard output")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 0 {
					return usagef("narration script takes no arguments, found %d", len(args))
				}
				s, err := open(ctx, e)
				if err != nil {
					return err
				}
				return writeTrack(e, *out, narration.Script(s.procedure, s.lib))
			}
		},
	}
}

func narrationCalloutsCommand() *command {
	return &command{
		name: "callouts", args: "FILE", summary: "write a WebVTT track of value callouts, and chapters, at the times of a transcript",
		examples: []string{
			"proofload narration callouts --procedure quill-1-rear-hub-bearing --demo hub.txt -o values.vtt --chapters chapters.vtt",
		},
		notes: []string{"The callouts show the values of the records, whatever was said; check the narration first."},
		setup: func(fs *pflag.FlagSet) action {
			open := narrationFlags(fs)
			out := fs.StringP("output", "o", "", "`FILE` for the value callouts instead of standard output, ending in .vtt")
			chapters := fs.String("chapters", "", "also write the steps as a chapters track to this `FILE`, ending in .vtt")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("narration callouts takes one transcript, found %d arguments", len(args))
				}
				for _, f := range []string{*out, *chapters} {
					if f != "" && strings.ToLower(filepath.Ext(f)) != ".vtt" {
						return usagef("file %q is no WebVTT track; end its name in .vtt", f)
					}
				}
				s, err := open(ctx, e)
				if err != nil {
					return err
				}
				c, err := s.check(args[0])
				if err != nil {
					return err
				}
				for _, f := range c.Findings {
					if f.Severity == specdata.Error {
						fmt.Fprintf(e.stderr, "proofload: %s: %s\n", narration.Clock(f.Start), f.Message)
					}
				}
				if *chapters != "" {
					if err := writeTrack(e, *chapters, narration.Chapters(c, s.procedure)); err != nil {
						return err
					}
				}
				return writeTrack(e, *out, narration.Callouts(c, s.lib))
			}
		},
	}
}

func narrationKeepCommand() *command {
	return &command{
		name: "keep", args: "FILE", summary: "check a transcript on a server, which remembers where the recording is and what it says when",
		examples: []string{
			"proofload narration keep hub.vtt --procedure quill-1-rear-hub-bearing --side left --reference https://videos.example/hub --token-file editor.token",
		},
		notes: []string{
			"The words are not kept: the values that are said, their times and the reference are. When a\npublished value changes, proofload correct show and proofload review show name the narrations that say the old one.",
			"Exit code 1 says that something was found; it is kept all the same.",
		},
		setup: func(fs *pflag.FlagSet) action {
			in := &pb.Narration{}
			procedure := fs.String("procedure", "", "the `PROCEDURE` that is shown")
			fs.StringVar(&in.Reference, "reference", "", "where the recording is, an `ADDRESS` or a name")
			fs.StringVar(&in.Vehicle, "vehicle", "", "the `VEHICLE` that is shown")
			fs.StringArrayVar(&in.Options, "option", nil, "what it has, as `KEY=VALUE`; may be repeated")
			fs.StringVar(&in.Side, "side", "", "left or right, where the procedure is done on one side")
			to := addServerFlags(fs)
			return func(ctx context.Context, e *env, args []string) error {
				switch {
				case len(args) != 1:
					return usagef("narration keep takes one transcript, found %d arguments", len(args))
				case *procedure == "":
					return usagef("flag --procedure is missing; name the procedure that is shown, like --procedure quill-1-rear-hub-bearing")
				case in.Reference == "":
					return usagef("flag --reference is missing; say where the recording is, so that whoever has to correct it finds it")
				}
				in.Procedure = string(specdata.NewName(specdata.KindProcedure, strings.TrimPrefix(*procedure, "procedures/")))
				data, err := transcript(args[0])
				if err != nil {
					return err
				}
				if _, err := narration.Read(args[0], data); err != nil { // what is no text crosses no wire
					return err
				}
				in.File, in.Text = filepath.Base(args[0]), string(data)
				s, err := to.connect(e)
				if err != nil {
					return err
				}
				var out pb.Narration
				if err := s.call(ctx, http.MethodPost, "/v1/narrations", nil, in, &out); err != nil {
					return refused(e, err)
				}
				p := page{w: e.stdout}
				for _, f := range out.Findings {
					p.line("%s: %s-%s: %s: %s [%s]", args[0], narration.Clock(f.StartSeconds), narration.Clock(f.EndSeconds), f.Severity, f.Message, f.Kind)
				}
				p.line("%s: %s, %s", out.Name, count(len(out.Values), "value is said", "values are said"), count(len(out.Findings), "finding", "findings"))
				if p.err == nil && len(out.Findings) > 0 {
					return errFindings
				}
				return stdoutError(p.err)
			}
		},
	}
}

// writeTrack writes a text to a file, or to standard output where none is named.
func writeTrack(e *env, file, text string) error {
	if file == "" {
		_, err := io.WriteString(e.stdout, text)
		return err
	}
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		return fmt.Errorf("file %s cannot be written: %w", file, reason(err))
	}
	return nil
}
