// Package doctor looks at what a server needs before it is started: its store, its key,
// its certificate, its ports, the clock and the room on the disk. It changes nothing.
package doctor

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"proofload/server/notary"
	"proofload/server/store/address"
)

// State is what a check came to.
type State string

// The states, the best first.
const (
	Good   State = "good"
	Warned State = "warning"
	Bad    State = "bad"
)

// Finding is what one check found, with the mend where there is one.
type Finding struct {
	Check string
	State State
	Text  string
}

// Settings are what is looked at; what is empty is not used by the server and not
// looked at.
type Settings struct {
	Store address.Address
	// Create says that a store that is not there would be made.
	Create bool
	// Key is the file of the signing key; TLSCert, TLSKey and ClientCA are files too.
	Key, TLSCert, TLSKey, ClientCA string
	// Listen are the addresses that would be listened on, by the flag that names them.
	Listen map[string]string
	Now    time.Time
}

// Limits of what is warned about.
const (
	// expiresSoon leaves time to renew a certificate.
	expiresSoon = 21 * 24 * time.Hour
	// littleRoom is where a store may soon be full: a library of some thousand records
	// with their history needs less.
	littleRoom = 512 << 20
	noRoom     = 16 << 20
)

// Look makes every check that the settings ask for, in a fixed order.
func Look(ctx context.Context, s Settings) []Finding {
	out := []Finding{clock(s.Now)}
	found, unsigned := store(ctx, s)
	out = append(out, found...)
	if s.Key != "" || unsigned != nil {
		out = append(out, key(s.Key, unsigned))
	}
	if s.TLSCert != "" || s.TLSKey != "" {
		out = append(out, certificate(s))
	}
	if s.ClientCA != "" {
		out = append(out, clientCA(s.ClientCA, s.Now))
	}
	for _, flag := range []string{"--http", "--grpc"} {
		if a := s.Listen[flag]; a != "" {
			out = append(out, port(ctx, flag, a))
		}
	}
	return out
}

// Worst returns the worst state of some findings.
func Worst(fs []Finding) State {
	worst := Good
	for _, f := range fs {
		if f.State == Bad || f.State == Warned && worst == Good {
			worst = f.State
		}
	}
	return worst
}

// built is when this was written: a clock before it is wrong.
var built = time.Date(2026, time.December, 1, 0, 0, 0, 0, time.UTC)

func clock(now time.Time) Finding {
	if now.Before(built) || now.After(built.AddDate(30, 0, 0)) {
		return Finding{"clock", Bad, fmt.Sprintf("says %s, which cannot be; set it, for what is published keeps its time for ever", now.Format(time.RFC3339))}
	}
	return Finding{"clock", Good, "says " + now.UTC().Format(time.RFC3339)}
}

// store opens what is there, reads its newest position and looks at the room beside it.
// unsigned is what keeps a server of it from signing with the key that is named, nil
// where nothing does or the store could not be asked.
func store(ctx context.Context, s Settings) (found []Finding, unsigned error) {
	const check = "store"
	file, embedded := s.Store.File()
	if embedded {
		info, err := os.Stat(file)
		switch {
		case errors.Is(err, fs.ErrNotExist) && s.Create:
			return append([]Finding{{check, Good, file + " is not there and would be made"}}, room(existing(filepath.Dir(file)))), nil
		case errors.Is(err, fs.ErrNotExist):
			return []Finding{{check, Bad, file + " is not there; name the right file, or start the server with --create for a new store"}}, nil
		case err != nil:
			return []Finding{{check, Bad, fmt.Sprintf("%s cannot be looked at: %v", file, cause(err))}}, nil
		case info.Mode().Perm()&0o077 != 0:
			return []Finding{{check, Warned, fmt.Sprintf("%s may be read by others (mode %04o), and holds tokens' hashes and maybe the signing key; chmod 600 it", file, info.Mode().Perm())}, room(filepath.Dir(file))}, nil
		}
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	answer := Finding{check, Good, ""}
	opened, err := s.Store.OpenExisting(ctx)
	if err != nil {
		answer = Finding{check, Bad, fmt.Sprintf("%s cannot be opened: %v", s.Store, err)}
	} else {
		head, err := opened.Head(ctx)
		answer.Text = fmt.Sprintf("%s answers: position %d, %d revisions", s.Store, head.Position, head.Revisions)
		if err == nil {
			unsigned = notary.CheckKey(ctx, opened, s.Key)
		}
		if err := errors.Join(err, opened.Close()); err != nil {
			answer = Finding{check, Bad, fmt.Sprintf("%s does not answer: %v", s.Store, err)}
		}
	}
	found = []Finding{answer}
	if embedded {
		found = append(found, room(filepath.Dir(file)))
	}
	return found, unsigned
}

// existing returns a folder, or the nearest above it that is there.
func existing(folder string) string {
	for {
		if _, err := os.Stat(folder); err == nil || folder == filepath.Dir(folder) {
			return folder
		}
		folder = filepath.Dir(folder)
	}
}

func room(folder string) Finding {
	const check = "disk"
	var s syscall.Statfs_t
	if err := syscall.Statfs(folder, &s); err != nil {
		return Finding{check, Warned, fmt.Sprintf("the room in %s is not known: %v", folder, err)}
	}
	free := s.Bavail * uint64(s.Bsize)
	text := fmt.Sprintf("%d MiB free in %s", free>>20, folder)
	switch {
	case free < noRoom:
		return Finding{check, Bad, text + "; writes would be refused, make room"}
	case free < littleRoom:
		return Finding{check, Warned, text + "; make room before it is full"}
	}
	return Finding{check, Good, text}
}

// key looks at the file of the signing key, "" where the store is to hold it. unsigned is
// what the store says against it.
func key(file string, unsigned error) Finding {
	const check = "key"
	info, err := os.Stat(file)
	switch {
	case err == nil && info.IsDir():
		return Finding{check, Bad, file + " is a folder; name a file"}
	case err == nil && info.Mode().Perm()&0o077 != 0:
		return Finding{check, Bad, fmt.Sprintf("%s may be read by others (mode %04o), who could sign as this library; chmod 600 it", file, info.Mode().Perm())}
	case unsigned != nil:
		return Finding{check, Bad, unsigned.Error()}
	case errors.Is(err, fs.ErrNotExist):
		return Finding{check, Warned, file + " is not there; the server makes it and moves the library's key there"}
	case err != nil:
		return Finding{check, Bad, fmt.Sprintf("%s cannot be looked at: %v", file, cause(err))}
	}
	return Finding{check, Good, file + " is there and only its owner reads it"}
}

func certificate(s Settings) Finding {
	const check = "certificate"
	pair, err := tls.LoadX509KeyPair(s.TLSCert, s.TLSKey)
	if err != nil {
		return Finding{check, Bad, fmt.Sprintf("%s with %s cannot be used: %v", s.TLSCert, s.TLSKey, cause(err))}
	}
	leaf := pair.Leaf
	if leaf == nil {
		if leaf, err = x509.ParseCertificate(pair.Certificate[0]); err != nil {
			return Finding{check, Bad, fmt.Sprintf("%s cannot be read: %v", s.TLSCert, err)}
		}
	}
	return valid(check, s.TLSCert, leaf, s.Now)
}

// valid says whether a certificate holds and for how long.
func valid(check, file string, c *x509.Certificate, now time.Time) Finding {
	day := c.NotAfter.UTC().Format(time.DateOnly)
	switch {
	case now.Before(c.NotBefore):
		return Finding{check, Bad, fmt.Sprintf("%s holds only from %s on; look at the clock", file, c.NotBefore.UTC().Format(time.DateOnly))}
	case now.After(c.NotAfter):
		return Finding{check, Bad, fmt.Sprintf("%s ended on %s; renew it, and send the server SIGHUP", file, day)}
	case c.NotAfter.Sub(now) < expiresSoon:
		return Finding{check, Warned, fmt.Sprintf("%s ends on %s; renew it, and send the server SIGHUP", file, day)}
	}
	return Finding{check, Good, fmt.Sprintf("%s holds until %s", file, day)}
}

func clientCA(file string, now time.Time) Finding {
	const check = "client certificates"
	certs, err := ReadCertificates(file)
	if err != nil {
		return Finding{check, Bad, err.Error()}
	}
	worst := valid(check, file, certs[0], now)
	for _, c := range certs[1:] {
		if f := valid(check, file, c, now); Worst([]Finding{worst, f}) != worst.State {
			worst = f
		}
	}
	return worst
}

func port(ctx context.Context, flag, a string) Finding {
	check := "port " + flag
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", a)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return Finding{check, Bad, a + " is in use, perhaps by a server that runs; stop it, or choose another"}
	case err != nil:
		return Finding{check, Bad, fmt.Sprintf("%s cannot be listened on: %v", a, err)}
	}
	if err := l.Close(); err != nil {
		return Finding{check, Bad, fmt.Sprintf("%s: %v", a, err)}
	}
	return Finding{check, Good, a + " is free"}
}

// cause returns an error without the path that the message names already.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
