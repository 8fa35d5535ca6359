package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/proto"

	pb "proofload/api/proofload/v1"
	"proofload/server/ledger/personal"
)

func reviewCommand() *command {
	return &command{
		name: "review", summary: "look at what others propose, and approve or reject it",
		examples: []string{
			"proofload review list",
			"proofload review show fasteners/quill-1-rear-hub-nut",
			"proofload review approve fasteners/quill-1-rear-hub-nut --content CONTENT --token-file reviewer.token",
			"proofload review reject fasteners/quill-1-rear-carrier-bolt --content CONTENT --comment \"sheet 2 says nothing of it\" --token-file reviewer.token",
		},
		notes: []string{
			"CONTENT stands for the digits that review show prints beside content, at least the first 16: what\nchanged since you saw it is not decided on. On a terminal, without --content, it is shown and you are asked.",
			"Nobody approves what they wrote a part of. Check the value against the source itself: the\nrules say that a number is possible, not that it is right.",
		},
		sub: []*command{
			{name: "list", summary: "what waits for a reviewer", setup: listSetup("open")},
			{name: "show", args: "CORRECTION", summary: "what it changes, its findings and whom it reaches", setup: showSetup(true)},
			{name: "approve", args: "CORRECTION", summary: "approve the content you saw", setup: approveSetup},
			{name: "reject", args: "CORRECTION --comment TEXT", summary: "end a correction, saying why", setup: rejectSetup},
		},
	}
}

func approveSetup(fs *pflag.FlagSet) action {
	comment := fs.String("comment", "", "a word for the record")
	return decide(fs, "approve", func(content string) proto.Message {
		return &pb.ApproveCorrectionRequest{ContentHash: content, Comment: *comment}
	})
}

func rejectSetup(fs *pflag.FlagSet) action {
	comment := fs.String("comment", "", "why; it is needed, and kept")
	reject := decide(fs, "reject", func(content string) proto.Message {
		return &pb.RejectCorrectionRequest{ContentHash: content, Comment: *comment}
	})
	return func(ctx context.Context, e *env, args []string) error {
		if strings.TrimSpace(*comment) == "" {
			return usagef("review reject needs --comment TEXT: the author has to know why")
		}
		return reject(ctx, e, args)
	}
}

// leastContent is how much of a content hash has to be given: 64 bits.
const leastContent = 16

func decide(fs *pflag.FlagSet, verb string, request func(content string) proto.Message) action {
	content := fs.String("content", "", "`HASH` of the content you saw, as review show prints it")
	signWith := new(string)
	if verb == "approve" {
		signWith = signFlag(fs)
	}
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		ask := *content == ""
		switch {
		case len(args) != 1:
			return usagef("review %s takes one correction, found %d arguments", verb, len(args))
		case ask && !e.asks:
			return usagef("review %s needs --content HASH where nobody can be asked; proofload review show prints it", verb)
		case !ask && strings.Trim(*content, "0123456789abcdef") != "":
			return usagef("flag --content: %q is not the digits 0 to 9 and a to f that review show prints beside content; copy at least %d of them", *content, leastContent)
		case !ask && len(*content) < leastContent:
			return usagef("flag --content: %q has %d digits; copy at least %d of those that review show prints beside content", *content, len(*content), leastContent)
		}
		key, err := readKey(*signWith)
		if err != nil {
			return err
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		c, reach, err := s.whole(ctx, e, args)
		if err != nil {
			return refused(e, err)
		}
		switch {
		case ask:
			if err := stdoutError(writeCorrection(e.stdout, c, reach)); err != nil {
				return err
			}
			yes, err := confirm(e, fmt.Sprintf("\n%s this? [y/N] ", strings.ToUpper(verb[:1])+verb[1:]))
			if err != nil || !yes {
				fmt.Fprintln(e.stdout, "nothing was decided")
				return err
			}
		case !strings.HasPrefix(c.ContentHash, *content):
			return fmt.Errorf("correction has content %s, --content is %s; look at it again: proofload review show %s --server %s", c.ContentHash, *content, args[0], s.named)
		}
		if key == nil {
			return s.change(ctx, e, c, verb, request(c.ContentHash))
		}
		if _, err := contentOf(c); err != nil {
			return err
		}
		if err := s.change(ctx, e, c, verb, request(c.ContentHash)); err != nil {
			return err
		}
		if _, err := s.sign(ctx, e, key, personal.Reviewer, c); err != nil {
			return refused(e, err)
		}
		return nil
	}
}

func confirm(e *env, question string) (bool, error) {
	if _, err := fmt.Fprint(e.stdout, question); err != nil {
		return false, stdoutError(err)
	}
	answer, err := bufio.NewReader(e.stdin).ReadString('\n')
	if err != nil && err != io.EOF {
		return false, fmt.Errorf("standard input cannot be read: %w", err)
	}
	return strings.EqualFold(strings.TrimSpace(answer), "y"), nil
}
