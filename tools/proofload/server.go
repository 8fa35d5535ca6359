package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// serverFlags are those of commands that ask a server to do something.
type serverFlags struct{ address, tokenFile string }

// addressVariable holds the server that is asked where no flag names one.
const addressVariable = "PROOFLOAD_ADDRESS"

// defaultServer is where a server that is told nothing answers.
const defaultServer = "127.0.0.1:7450"

func addServerFlags(fs *pflag.FlagSet) *serverFlags {
	var f serverFlags
	fs.StringVar(&f.address, "server", "", "`HOST:PORT` of the server, or its URL; otherwise the environment variable "+addressVariable+", or "+defaultServer)
	fs.StringVar(&f.tokenFile, "token-file", "", "`FILE` that holds your token; otherwise the environment variable "+tokenVariable)
	return &f
}

// connect prepares to talk to the server. The token is never an argument: what
// stands on a command line is seen by every program of the machine.
func (f *serverFlags) connect(e *env) (*server, error) {
	if f.address == "" {
		f.address = cmp.Or(e.getenv(addressVariable), defaultServer)
	}
	address := f.address
	if !isURL(address) {
		host, _, err := net.SplitHostPort(address)
		if err != nil {
			return nil, usagef("flag --server: %q is not HOST:PORT; write it like %s", address, defaultServer)
		}
		scheme := "https://"
		if isLoopback(host) {
			scheme = "http://"
		}
		address = scheme + address
	}
	token := e.getenv(tokenVariable)
	if f.tokenFile != "" {
		b, err := os.ReadFile(f.tokenFile)
		if err != nil {
			return nil, pathError("token file", f.tokenFile, err)
		}
		token = strings.TrimSpace(string(b))
		if token == "" || strings.ContainsAny(token, " \t\r\n") {
			return nil, usagef("token file %s does not hold one token; it is one word, beginning with plt_", f.tokenFile)
		}
	}
	r, err := newRemote(address, token)
	if err != nil {
		return nil, err
	}
	return &server{remote: r, named: f.address, sleep: time.Sleep}, nil
}

// server is a server that is asked to do something.
type server struct {
	*remote
	// named is the server as the command line named it, for commands to type next.
	named string
	// reviewing says that what is shown is about to be decided on.
	reviewing bool
	sleep     func(time.Duration)
}

// refusal is an answer that is an error, as problem details (RFC 9457).
type refusal struct {
	Status     int
	Reason     string
	Detail     string
	Violations []struct{ Field, Description string }
	Clashes    []struct{ Record, Pointer, Base, Current, Proposed string }
}

// Error says what the server said, and both sides of what clashes.
func (r *refusal) Error() string {
	var b strings.Builder
	b.WriteString(r.Detail)
	for _, v := range r.Violations {
		if len(r.Clashes) == 0 && v.Description != r.Detail {
			fmt.Fprintf(&b, "\n  %s: %s", v.Field, v.Description)
		}
	}
	for _, c := range r.Clashes {
		fmt.Fprintf(&b, "\n  %s %s: was %s; published meanwhile %s; proposed %s", c.Record, c.Pointer, orNothing(c.Base), orNothing(c.Current), orNothing(c.Proposed))
	}
	return b.String()
}

func orNothing(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

// refused turns a refusal into what a command ends with: 1 where the content is at
// fault, 2 where the request is, 3 where it may go another time.
func refused(e *env, err error) error {
	var r *refusal
	if !errors.As(err, &r) {
		return err
	}
	switch {
	case r.Reason == "TOKEN_MISSING":
		role, _, _ := strings.Cut(strings.TrimPrefix(r.Detail, "request carries no token; this needs "), ",")
		if strings.Count(role, " or ") > 2 {
			role = "a token, of any role"
		}
		return usagef("this needs %s; name the file that holds yours, --token-file FILE, or put it into the environment variable %s", role, tokenVariable)
	case r.Status == http.StatusUnprocessableEntity, r.Reason == "FINDINGS_BLOCK":
		fmt.Fprintf(e.stderr, "proofload: %v\n", r)
		return errFindings
	case r.Status == http.StatusConflict, r.Status == http.StatusPreconditionFailed, r.Status == http.StatusTooManyRequests, r.Status >= 500:
		return r
	}
	return usagef("%v", r)
}

// tries is how often a request is sent that may be sent again.
const tries = 4

// call sends a message, where there is one, and reads the answer into another. A
// request that changes something carries a request id: where its answer gets lost it
// is sent again, and done once.
func (s *server) call(ctx context.Context, method, path string, query url.Values, in, out proto.Message) error {
	var body []byte
	if in != nil {
		var err error
		if body, err = (protojson.MarshalOptions{UseProtoNames: true}).Marshal(in); err != nil {
			return err
		}
	}
	id := requestID()
	for try := 1; ; try++ {
		answer, _, err := s.send(ctx, method, path, query, body, id)
		var r *refusal
		lost := err != nil && (!errors.As(err, &r) || r.Status == http.StatusServiceUnavailable)
		switch {
		case lost && try < tries && ctx.Err() == nil && (method == http.MethodGet || !strings.HasPrefix(path, "/v1/tokens")):
			s.sleep(time.Duration(try*try) * 100 * time.Millisecond)
			continue
		case err != nil:
			return err
		}
		if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(answer, out); err != nil {
			return fmt.Errorf("server %s does not answer %s as a proofload server does; is the address right?", s.named, path)
		}
		return nil
	}
}

func requestID() string {
	var b [16]byte
	rand.Read(b[:])
	return hex.EncodeToString(b[:])
}

// send sends one request. The error is a *refusal where the server answered with one.
func (s *server) send(ctx context.Context, method, path string, query url.Values, body []byte, id string) ([]byte, http.Header, error) {
	u := *s.base
	u.Path += path
	u.RawQuery = query.Encode()
	req, err := http.NewRequestWithContext(ctx, method, u.String(), bytes.NewReader(body))
	if err != nil {
		return nil, nil, err
	}
	req.Header.Set("Accept", "application/json")
	if s.token != "" {
		req.Header.Set("Authorization", "Bearer "+s.token)
	}
	if method != http.MethodGet {
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("Idempotency-Key", id)
	}
	resp, err := s.client.Do(req)
	if err != nil {
		var failed *url.Error
		if errors.As(err, &failed) {
			err = failed.Err
		}
		return nil, nil, fmt.Errorf("server %s does not answer: %w", s.named, err)
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(io.LimitReader(resp.Body, maxBody+1))
	switch {
	case err != nil:
		return nil, nil, fmt.Errorf("server %s broke off: %w", s.named, err)
	case len(answer) > maxBody:
		return nil, nil, fmt.Errorf("server %s answers %s with more than %d bytes", s.named, path, maxBody)
	case resp.StatusCode < 300:
		return answer, resp.Header, nil
	}
	r := refusal{Status: resp.StatusCode}
	if json.Unmarshal(answer, &r) != nil || r.Detail == "" {
		r.Detail = fmt.Sprintf("server %s answers %s with %s", s.named, path, resp.Status)
	}
	return nil, nil, &r
}
