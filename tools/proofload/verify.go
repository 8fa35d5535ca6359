package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"golang.org/x/mod/sumdb/note"

	"proofload/server/ledger"
	"proofload/server/ledger/personal"
	"proofload/specdata"
	"proofload/specdata/act"
)

func verifyCommand() *command {
	return &command{
		name: "verify", args: "[DOCUMENT|CODE...]", summary: "prove, without trusting the server, that nothing was changed, dropped or slipped in",
		examples: []string{
			"proofload verify --server http://127.0.0.1:7450 --checkpoint kept.txt    # keep the newest checkpoint, if it grew from the kept one",
			"curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/document > nut.json",
			"curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/revisions/1/proof > nut-proof.json",
			"proofload verify nut.json --proof nut-proof.json --checkpoint kept.txt",
			"proofload verify CODE --proof sheet.json --checkpoint kept.txt   # the code of a sheet, and the answer of /v1/checks/CODE/proof",
			"proofload verify --store sqlite:friday.db --checkpoint kept.txt          # a whole backup",
			"curl -s 'http://127.0.0.1:7450/v1/log?documents=true&page_size=1000' > log.json",
			"proofload verify --log log.json --checkpoint kept.txt                    # a whole log",
		},
		notes: []string{
			"A checkpoint is a signed note of the whole history at a moment, under 300 bytes. Keep one where the\nserver's people cannot change it, and its key beside it (FILE.key, made the first time); compare\nthe key with the one the library's people tell you.",
			"A store's file is copied and never touched. Of one that a server has open take a backup first.",
			"Exit codes: 0 it is proved, 1 it is not and the output says what is wrong, 2 wrong use, 3 could not run.",
		},
		setup: func(fs *pflag.FlagSet) action {
			v := &verification{}
			fs.StringVar(&v.server, "server", "", "`URL` of a server whose newest checkpoint is fetched, proved and kept")
			fs.StringArrayVar(&v.checkpoints, "checkpoint", nil, "`FILE` with a checkpoint that you keep; repeatable")
			fs.StringVar(&v.key, "key", "", "verifier `KEY` of the library, or a file with it; the first checkpoint's FILE.key if absent")
			fs.StringVar(&v.proof, "proof", "", "`FILE` with a proof, as the server answers it")
			fs.StringArrayVar(&v.signers, "signer", nil, "`FILE` with the public key of an author or the reviewer, who has to have signed; repeatable")
			fs.StringArrayVar(&v.cosigned, "cosigned", nil, "`FILE` or URL with a checkpoint that witnesses cosigned; repeatable")
			fs.StringArrayVar(&v.witnesses, "witness", nil, "`FILE` with the public key of a witness; repeatable")
			fs.IntVar(&v.quorum, "quorum", 0, "how many of the witnesses have to vouch for it; all if absent")
			fs.DurationVar(&v.maxAge, "max-age", 0, "how long ago a witness may have looked last, like 24h; for ever if absent")
			fs.StringVar(&v.store, "store", "", "`STORE` to go through, sqlite:FILE")
			fs.StringVar(&v.log, "log", "", "`FILE` with a whole log, documents included, to go through")
			return v.run
		},
	}
}

type verification struct {
	server, key, proof, store, log string
	checkpoints                    []string
	// signers are files with people's public keys.
	signers []string
	// cosigned are files and addresses of cosigned checkpoints, witnesses files with the
	// public keys of witnesses.
	cosigned, witnesses []string
	quorum              int
	maxAge              time.Duration
}

func (v *verification) run(ctx context.Context, e *env, args []string) error {
	modes := 0
	for _, f := range []string{v.server, v.proof, v.store, v.log} {
		if f != "" {
			modes++
		}
	}
	switch {
	case len(v.witnesses) == 0 && (len(v.cosigned) > 0 || v.quorum != 0 || v.maxAge != 0):
		return usagef("flags --cosigned, --quorum and --max-age need the witnesses' keys: --witness FILE")
	case v.quorum < 0 || v.quorum > len(v.witnesses):
		return usagef("flag --quorum: %d of %d witnesses cannot vouch; allowed: 1 to %d", v.quorum, len(v.witnesses), len(v.witnesses))
	case v.maxAge < 0:
		return usagef("flag --max-age: %s is negative", v.maxAge)
	case modes != 1:
		return usagef("verify takes one of --server, --proof, --store and --log, found %d of them", modes)
	case v.proof == "" && len(v.signers) > 0:
		return usagef("flag --signer goes with a document and --proof")
	case v.proof == "" && len(args) > 0:
		return usagef("verify takes a document or a code with --proof, found %q", args[0])
	case v.server != "" && len(v.checkpoints) != 1:
		return usagef("verify --server keeps one checkpoint; give --checkpoint FILE, which is made where it is not there")
	case v.server != "":
		return v.follow(ctx, e)
	case v.store != "":
		return v.goThrough(ctx, e, v.openBackup)
	case v.log != "":
		return v.goThrough(ctx, e, v.openLog)
	case len(args) == 0:
		return usagef("verify --proof needs the document that is to be proved, or the code of a sheet")
	}
	data, err := os.ReadFile(v.proof)
	if err != nil {
		return pathError("proof", v.proof, err)
	}
	if strings.HasPrefix(strings.ToUpper(args[0]), "PL") {
		if _, err := os.Stat(args[0]); err != nil { // a file of that name is a document
			return v.sheet(ctx, e, args[0], args[1:], data)
		}
	}
	if len(args) > 1 {
		return usagef("a proof is of one document, found %d", len(args))
	}
	return v.document(ctx, e, args[0], data)
}

// verifiers returns the keys that everything is checked with: the library's, and those
// from which it followed.
func (v *verification) verifiers() ([]note.Verifier, error) {
	text, err := v.keyText()
	if err != nil {
		return nil, err
	}
	return parseKeys(text)
}

// keyText returns the public keys as they are written, the newest first.
func (v *verification) keyText() ([]string, error) {
	text := v.key
	switch {
	case text == "" && len(v.checkpoints) == 0:
		return nil, usagef("verify needs the library's key: --key KEY, or --checkpoint FILE with FILE.key beside it")
	case text == "":
		b, err := os.ReadFile(keyFile(v.checkpoints[0]))
		if errors.Is(err, os.ErrNotExist) {
			return nil, usagef("key %s does not exist; give --key, as the library's people tell it", keyFile(v.checkpoints[0]))
		}
		if err != nil {
			return nil, fmt.Errorf("key %s cannot be read: %w", keyFile(v.checkpoints[0]), reason(err))
		}
		text = string(b)
	case !strings.Contains(text, "+"):
		b, err := os.ReadFile(text)
		if err != nil {
			return nil, pathError("key", text, err)
		}
		text = string(b)
	}
	return strings.Fields(text), nil
}

// parseKeys reads public keys, the newest first.
func parseKeys(texts []string) ([]note.Verifier, error) {
	if len(texts) == 0 {
		texts = []string{""}
	}
	var out []note.Verifier
	for _, text := range texts {
		k, err := note.NewVerifier(text)
		if err != nil {
			return nil, usagef("key %q is no verifier key; it is written name+hash+key, as /v1/keys/ledger answers", clipped(text))
		}
		out = append(out, k)
	}
	return out, nil
}

func clipped(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

func keyFile(checkpoint string) string { return checkpoint + ".key" }

// kept reads the checkpoints that the command line names, those that witnesses cosigned
// last, and proves that enough witnesses vouch for one of them.
func (v *verification) kept(ctx context.Context, e *env, k []note.Verifier) ([]ledger.Checkpoint, error) {
	var out []ledger.Checkpoint
	for _, file := range v.checkpoints {
		c, _, err := readCheckpoint(file, k)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	if len(v.witnesses) == 0 {
		return out, nil
	}
	notes, witnesses, err := v.words(ctx)
	if err != nil {
		return nil, err
	}
	for i, from := range v.cosigned {
		c, err := ledger.Open(notes[i], k...)
		if err != nil {
			return nil, usagef("checkpoint %s: %v", from, err)
		}
		out = append(out, c)
	}
	return out, v.enough(e, witnesses, notes)
}

// name is where a kept checkpoint is from.
func (v *verification) name(i int) string {
	return append(v.checkpoints[:len(v.checkpoints):len(v.checkpoints)], v.cosigned...)[i]
}

func readCheckpoint(file string, k []note.Verifier) (ledger.Checkpoint, []byte, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return ledger.Checkpoint{}, nil, pathError("checkpoint", file, err)
	}
	c, err := ledger.Open(b, k...)
	if err != nil {
		return ledger.Checkpoint{}, nil, usagef("checkpoint %s: %v", file, err)
	}
	return c, b, nil
}

// refuted says what is not proved, and ends the command with exit 1.
func refuted(e *env, format string, args ...any) error {
	fmt.Fprintf(e.stdout, "NOT PROVED: "+format+"\n", args...)
	return errFindings
}

// grown checks the growth from each kept checkpoint to the one of a proof. A kept
// checkpoint of the very same tree needs no growth.
func (v *verification) grown(e *env, kept []ledger.Checkpoint, growth *ledger.Growth, c ledger.Checkpoint) error {
	for i, k := range kept {
		switch {
		case k.Size == c.Size:
			if err := ledger.CheckGrowth(nil, k, c); err != nil {
				return refuted(e, "checkpoint %s and the proof's contradict each other: %v", v.name(i), err)
			}
		case k.Size > c.Size:
			return usagef("checkpoint %s is of position %d, the proof's of %d; fetch the proof again, it is then of the newest", v.name(i), k.Position, c.Position)
		case growth == nil || growth.From != k.Size:
			return usagef("proof does not show that its tree grew from that of %s; fetch it again with from_size=%d", v.name(i), k.Size)
		default:
			if err := ledger.CheckGrowth(growth.Hashes, k, c); err != nil {
				return refuted(e, "%v", err)
			}
		}
	}
	return nil
}

// document checks a document against a proof.
func (v *verification) document(ctx context.Context, e *env, file string, data []byte) error {
	k, err := v.verifiers()
	if err != nil {
		return err
	}
	kept, err := v.kept(ctx, e, k)
	if err != nil {
		return err
	}
	p, err := ledger.ParseProof(data)
	if err != nil {
		return usagef("%s: %v", v.proof, err)
	}
	name, hash, err := identity(file)
	if err != nil {
		return err
	}
	leaf, c, err := p.Check(k...)
	if err != nil {
		return refuted(e, "%v", err)
	}
	if leaf.Name != name {
		return refuted(e, "%s is %s, the proof is of %s", file, name, leaf.Name)
	}
	if leaf.Document != hash {
		return refuted(e, "%s is not the document of %s revision %d: its hash is %s, published was %s", file, leaf.Name, leaf.Revision, hash, leaf.Document)
	}
	if err := v.grown(e, kept, p.Growth, c); err != nil {
		return err
	}
	signed, err := v.vouched(e, p, leaf, c)
	if err != nil {
		return err
	}
	state := "is the document of"
	if leaf.Withdrawn {
		state = "is the document that was withdrawn by"
	}
	fmt.Fprintf(e.stdout, "proved: %s %s %s revision %d, published at position %d (%s) by %s, reviewed by %s: %s\n",
		file, state, leaf.Name, leaf.Revision, leaf.Position, leaf.Time, strings.Join(leaf.Authors, ", "), nobody(leaf.Reviewer), leaf.Reason)
	fmt.Fprintf(e.stdout, "leaf %d of the %d that %s signed as of position %d\n", p.Index, c.Size, c.Origin, c.Position)
	for _, s := range signed {
		fmt.Fprintf(e.stdout, "signed by %s as its %s, with the key you gave\n", s.Person, s.Role)
	}
	return nil
}

// vouched proves that the people whose keys were given signed what is proved.
func (v *verification) vouched(e *env, p *ledger.Proof, leaf ledger.Leaf, c ledger.Checkpoint) ([]personal.Statement, error) {
	if len(v.signers) == 0 {
		return nil, nil
	}
	var keys []string
	for _, file := range v.signers {
		b, err := os.ReadFile(file)
		if err != nil {
			return nil, pathError("key", file, err)
		}
		keys = append(keys, string(b))
	}
	out, err := personal.Vouched(leaf.Name, leaf.Document, leaf.Withdrawn, leaf.Authors, leaf.Reviewer, c.Origin, p.SignedContent, p.Signatures, keys)
	if err != nil {
		return nil, refuted(e, "%v", err)
	}
	return out, nil
}

// identity returns the name and the hash of a document: of a record, or of an act.
func identity(file string) (name, hash string, err error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return "", "", pathError("document", file, err)
	}
	var head struct{ Act, ID string }
	if json.Unmarshal(data, &head) == nil && head.Act != "" {
		a, err := act.Parse(specdata.Name(specdata.Acts+"/"+head.ID), bytes.TrimRight(data, "\n"))
		if err != nil {
			return "", "", usagef("act %s cannot be read: %v", file, err)
		}
		return string(a.Name()), personal.HashOf(bytes.TrimRight(data, "\n")), nil
	}
	doc, err := canonical(file)
	if err != nil {
		return "", "", err
	}
	return string(doc.Record.Name()), doc.Hash, nil
}

func nobody(name string) string {
	if name == "" {
		return "nobody"
	}
	return name
}

// follow fetches the newest checkpoint and keeps it once it is proved to have grown
// from the kept one.
func (v *verification) follow(ctx context.Context, e *env) error {
	server, err := newRemote(v.server, e.getenv(tokenVariable))
	if err != nil {
		return err
	}
	file := v.checkpoints[0]
	if _, err := os.Stat(file); errors.Is(err, os.ErrNotExist) {
		return v.first(ctx, e, server, file)
	}
	k, err := v.known(ctx, e, server, file)
	if err != nil {
		return err
	}
	kept, _, err := readCheckpoint(file, k)
	if err != nil {
		return err
	}
	newest, signed, err := server.checkpoint(ctx, "newest", k...)
	if err != nil {
		return v.notSigned(e, err)
	}
	if newest.Size < kept.Size {
		return refuted(e, "server shows %d leaves at position %d, the kept checkpoint %d at position %d: history was rolled back, or this is another copy that lags\n%s", newest.Size, newest.Position, kept.Size, kept.Position, signed)
	}
	g, err := server.growth(ctx, newest.Position, kept.Size)
	if err != nil {
		return err
	}
	if err := ledger.CheckGrowth(g.Hashes, kept, newest); err != nil {
		return refuted(e, "%v\nKeep both notes: they show that the signer told two histories. The kept one is unchanged in %s; the server's is\n%s", err, file, signed)
	}
	if err := v.witnessed(ctx, e, server, k, newest, signed); err != nil {
		return err
	}
	if err := keep(file, signed); err != nil {
		return err
	}
	if newest.Position == kept.Position {
		fmt.Fprintf(e.stdout, "proved: nothing was published since position %d, %d leaves; %s holds it\n", newest.Position, newest.Size, file)
		return nil
	}
	fmt.Fprintf(e.stdout, "proved: position %d, %d leaves, grew from position %d, %d leaves, with nothing behind it changed; %s holds it now\n", newest.Position, newest.Size, kept.Position, kept.Size, file)
	return nil
}

// first keeps a first checkpoint, and the key where none was given.
func (v *verification) first(ctx context.Context, e *env, server *remote, file string) error {
	k, err := v.known(ctx, e, server, file)
	if err != nil {
		return err
	}
	c, signed, err := server.checkpoint(ctx, "newest", k...)
	if err != nil {
		return v.notSigned(e, err)
	}
	if err := v.witnessed(ctx, e, server, k, c, signed); err != nil {
		return err
	}
	if err := keep(file, signed); err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%s holds position %d, %d leaves of %s, from %s\n", file, c.Position, c.Size, c.Origin, c.Time.UTC().Format(time.RFC3339))
	return nil
}

// known returns the library's keys: the one that was given or is kept beside a checkpoint,
// those that follow from it by signed handovers, or the first time the one that the
// server tells.
func (v *verification) known(ctx context.Context, e *env, server *remote, file string) ([]note.Verifier, error) {
	beside := keyFile(file)
	told, handovers, err := server.key(ctx)
	if err != nil {
		return nil, err
	}
	_, missing := os.Stat(beside)
	if v.key == "" && errors.Is(missing, os.ErrNotExist) {
		if _, err := os.Stat(file); err == nil {
			return nil, usagef("key %s does not exist; give --key, as the library's people tell it", beside)
		}
		keys, err := parseKeys([]string{told})
		if err != nil {
			return nil, err
		}
		if err := keep(beside, []byte(told+"\n")); err != nil {
			return nil, err
		}
		_, err = fmt.Fprintf(e.stdout, "key %s\nis now in %s, as the server told it: compare it with what the library's people tell you\n", told, beside)
		return keys, stdoutError(err)
	}
	keys, err := v.verifiers()
	if err != nil {
		return nil, err
	}
	text, err := v.keyText()
	if err != nil {
		return nil, err
	}
	chain, err := ledger.Follow(text[0], handovers)
	if err != nil || len(chain) == 1 {
		return keys, err
	}
	all := append(chain, text[1:]...)
	if v.key == "" {
		if err := keep(beside, []byte(strings.Join(all, "\n")+"\n")); err != nil {
			return nil, err
		}
		fmt.Fprintf(e.stdout, "the library's key changed, and the old one signed the new: %s; %s holds it now\n", chain[0], beside)
	}
	return parseKeys(all)
}

// badSignature is an answer that the kept key did not sign.
type badSignature struct{ error }

func (v *verification) notSigned(e *env, err error) error {
	var bad badSignature
	if errors.As(err, &bad) {
		return refuted(e, "server %s: %v", v.server, bad.error)
	}
	return err
}

// keep writes a file whole or not at all.
func keep(file string, data []byte) error {
	temp, err := os.CreateTemp(filepath.Dir(file), ".keep-*")
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, reason(err))
	}
	_, err = temp.Write(data)
	err = errors.Join(err, temp.Sync(), temp.Close())
	if err == nil {
		err = os.Rename(temp.Name(), file)
	}
	if err != nil {
		os.Remove(temp.Name())
		return fmt.Errorf("%s cannot be written: %w", file, reason(err))
	}
	return nil
}
