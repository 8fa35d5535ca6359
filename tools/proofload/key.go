package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"

	"github.com/spf13/pflag"

	pb "proofload/api/proofload/v1"
	"proofload/server/ledger/personal"
	"proofload/specdata/document"
)

func keyCommand() *command {
	return &command{
		name: "key", summary: "make a key of your own, to sign what you propose and approve",
		examples: []string{
			"proofload key new maud.key --person \"Maud Ibbot\"     # and maud.key.pub, to give to those who verify",
			"proofload review approve fasteners/quill-1-rear-hub-nut --content CONTENT --sign-with piet.key --token-file reviewer.token",
			"proofload verify nut.json --proof nut-proof.json --key kept.txt.key --signer piet.key.pub",
		},
		notes: []string{
			"Whoever runs the server can give out a token in anybody's name. What you sign with a key of\nyour own they cannot make up: verify says whether author and reviewer signed the very\ndocument. Keep the key where only you can read it; the person is the one of your token.",
		},
		sub: []*command{
			{name: "new", args: "FILE --person NAME", summary: "make a key; FILE is yours alone, FILE.pub is for everybody", setup: keyNew},
		},
	}
}

// personLine begins the first line of a key's file.
const personLine = "person "

func keyNew(fs *pflag.FlagSet) action {
	person := fs.String("person", "", "`NAME` of the person, as their token has it")
	return func(_ context.Context, e *env, args []string) error {
		if len(args) != 1 || *person == "" {
			return usagef("key new takes one file and --person NAME")
		}
		private, public, err := personal.NewKey(*person)
		if err != nil {
			return usagef("flag --person: %v", err)
		}
		for _, f := range []struct {
			name, text string
			mode       os.FileMode
		}{{args[0], personLine + *person + "\n" + private + "\n", 0o600}, {args[0] + ".pub", public + "\n", 0o644}} {
			if err := writeNew(f.name, f.text, f.mode); err != nil {
				return err
			}
		}
		_, err = fmt.Fprintf(e.stdout, "%s signs as %s; give %s.pub to those who verify\n", args[0], *person, args[0])
		return stdoutError(err)
	}
}

func writeNew(name, text string, mode os.FileMode) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if errors.Is(err, os.ErrExist) {
		return usagef("%s exists and is not written over; choose another name", name)
	}
	if err != nil {
		return fmt.Errorf("%s cannot be made: %w", name, reason(err))
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// ownKey is a person's key.
type ownKey struct{ person, private string }

func signFlag(fs *pflag.FlagSet) *string {
	return fs.String("sign-with", "", "`FILE` with a key of your own (proofload key new) to sign the content with")
}

// readKey reads a person's key, nil where no file is named.
func readKey(file string) (*ownKey, error) {
	if file == "" {
		return nil, nil
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, pathError("key", file, err)
	}
	first, private, ok := strings.Cut(strings.TrimSpace(string(b)), "\n")
	person, named := strings.CutPrefix(first, personLine)
	if !ok || !named {
		return nil, usagef("key %s is no key of a person; proofload key new makes one", file)
	}
	return &ownKey{person, strings.TrimSpace(private)}, nil
}

// sign signs the content of a correction and sends the signature. What is signed is
// worked out from the documents that were shown, not taken from the server's word.
func (s *server) sign(ctx context.Context, e *env, k *ownKey, as personal.Role, c *pb.Correction) (*pb.Correction, error) {
	content, err := contentOf(c)
	if err != nil {
		return nil, err
	}
	var library pb.VerifierKey
	if err := s.call(ctx, http.MethodGet, "/v1/keys/ledger", nil, nil, &library); err != nil {
		return nil, err
	}
	signed, err := personal.Sign(personal.Statement{Library: library.Origin, Content: content, Role: as, Person: k.person}, k.private)
	if err != nil {
		return nil, usagef("flag --sign-with: %v", err)
	}
	var out pb.Correction
	if err := s.call(ctx, http.MethodPost, "/v1/"+c.Name+":sign", nil, &pb.SignCorrectionRequest{Note: signed}, &out); err != nil {
		return nil, err
	}
	fmt.Fprintf(e.stderr, "proofload: signed by %s as its %s, content %s\n", k.person, as, content)
	return &out, nil
}

// contentOf works out the content hash of a correction from what the server shows of it.
// The error says that it contradicts itself.
func contentOf(c *pb.Correction) (string, error) {
	content := personal.Content{Reason: c.Reason, Evidence: c.Evidence}
	for _, r := range c.Records {
		hash := ""
		if !r.Withdraw {
			hash = personal.HashOf([]byte(r.Document))
		}
		if hash != r.DocumentHash {
			return "", fmt.Errorf("server shows a document of %s with hash %s and says it is %s; nothing is signed", r.Record, hash, r.DocumentHash)
		}
		content.Drafts = append(content.Drafts, personal.PartOf(r.Record, hash))
	}
	hash, err := content.Hash()
	if err == nil && hash != c.ContentHash {
		err = fmt.Errorf("server shows content %s and says it is %s; nothing is signed", hash, c.ContentHash)
	}
	return hash, err
}

// asProposed says whether a correction holds the documents that were sent, and no other
// record, before its author signs it.
func asProposed(sent []*pb.CorrectionChange, c *pb.Correction) error {
	asked := map[string]*pb.CorrectionChange{}
	for _, x := range sent {
		asked[x.Record] = x
	}
	for _, r := range c.Records {
		x := asked[r.Record]
		switch {
		case x == nil:
			return fmt.Errorf("server added %s, which you did not propose; nothing is signed", r.Record)
		case x.Withdraw != r.Withdraw:
			return fmt.Errorf("server took the change of %s for another; nothing is signed", r.Record)
		case x.Document == "":
			continue // a patch: what it came to is shown field by field
		}
		doc, findings := document.Read(r.Record+".yaml", []byte(x.Document))
		if len(findings) > 0 || string(doc.Canonical) != r.Document {
			return fmt.Errorf("server made another document of %s than you sent; look at it with proofload correct show, then sign it with proofload correct sign", r.Record)
		}
	}
	return nil
}

func signSetup(fs *pflag.FlagSet) action {
	file := signFlag(fs)
	to := addServerFlags(fs)
	return func(ctx context.Context, e *env, args []string) error {
		if len(args) != 1 || *file == "" {
			return usagef("correct sign takes one correction and --sign-with FILE")
		}
		k, err := readKey(*file)
		if err != nil {
			return err
		}
		s, err := to.connect(e)
		if err != nil {
			return err
		}
		c, err := s.find(ctx, args)
		if err != nil {
			return refused(e, err)
		}
		if err := stdoutError(writeCorrection(e.stdout, c, nil)); err != nil {
			return err
		}
		if _, err = s.sign(ctx, e, k, personal.Author, c); err != nil {
			return refused(e, err)
		}
		return nil
	}
}
