package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// remote is the published library of a server. All of it is read at one position,
// so that a publication in the middle of reading does not show half.
type remote struct {
	base   *url.URL
	token  string
	client *http.Client
}

// tokenVariable names the environment variable with the token for a server that wants one.
const tokenVariable = "PROOFLOAD_TOKEN"

func isURL(s string) bool {
	return strings.HasPrefix(s, "http://") || strings.HasPrefix(s, "https://")
}

func newRemote(address, token string) (*remote, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return nil, usagef("library %q is no address of a server; write it like http://127.0.0.1:7450", address)
	}
	if token != "" && u.Scheme == "http" && !isLoopback(u.Hostname()) {
		return nil, usagef("library %s: the token in %s would cross the network unencrypted; use https", address, tokenVariable)
	}
	u.Path = strings.TrimSuffix(u.Path, "/")
	return &remote{base: u, token: token, client: &http.Client{Timeout: 30 * time.Second}}, nil
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// fetchers is how many documents are asked for at once.
const fetchers = 8

// load reads the library as it is now. The error says what did not answer.
func (r *remote) load(ctx context.Context) (*library.Memory, error) {
	lib, _, err := r.loadAt(ctx, "")
	return lib, err
}

// loadAt reads the library as it is at a moment, "" for now, and returns the position
// that the moment is.
func (r *remote) loadAt(ctx context.Context, at string) (lib *library.Memory, position string, err error) {
	var names []specdata.Name
	for i, k := range specdata.Kinds {
		found, answered, err := r.list(ctx, k, at)
		if err != nil {
			return nil, "", err
		}
		if i == 0 { // all of it is of the moment of its first page
			position = answered
			at = "position:" + position
			if position == "0" { // nothing was ever published, and nothing can be asked of that moment
				at = ""
			}
		}
		names = append(names, found...)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	entries := make([]*library.Entry, len(names))
	next := make(chan int)
	var wg sync.WaitGroup
	for range fetchers {
		wg.Go(func() {
			for i := range next {
				e, err := r.document(ctx, names[i], at)
				if err != nil {
					cancel(err) // the first error is the cause, later ones follow from it
					continue
				}
				entries[i] = e
			}
		})
	}
	for i := range names {
		next <- i
	}
	close(next)
	wg.Wait()
	if ctx.Err() != nil {
		return nil, "", context.Cause(ctx)
	}
	lib, err = library.NewMemory(entries...)
	return lib, position, err
}

// list names the records of a kind, and the position they were listed at.
func (r *remote) list(ctx context.Context, k specdata.Kind, at string) (names []specdata.Name, position string, err error) {
	token := ""
	for {
		query := url.Values{"page_size": {"1000"}}
		if at != "" {
			query.Set("at", at)
		}
		if token != "" {
			query.Set("page_token", token)
		}
		body, header, err := r.get(ctx, "/v1/"+k.Collection(), query)
		if err != nil {
			return nil, "", err
		}
		var page map[string]json.RawMessage
		var records []struct{ Name specdata.Name }
		if err := json.Unmarshal(body, &page); err != nil {
			return nil, "", r.odd(k.Collection())
		}
		if raw, ok := page[k.Collection()]; ok && json.Unmarshal(raw, &records) != nil {
			return nil, "", r.odd(k.Collection())
		}
		for _, rec := range records {
			if _, err := specdata.ParseName(string(rec.Name)); err != nil {
				return nil, "", r.odd(k.Collection())
			}
			names = append(names, rec.Name)
		}
		if position == "" {
			position = header.Get("Proofload-Position")
		}
		token = ""
		if raw, ok := page["next_page_token"]; ok && json.Unmarshal(raw, &token) != nil {
			return nil, "", r.odd(k.Collection())
		}
		if token == "" {
			if position == "" {
				return nil, "", r.odd(k.Collection())
			}
			return names, position, nil
		}
	}
}

func (r *remote) document(ctx context.Context, name specdata.Name, at string) (*library.Entry, error) {
	body, _, err := r.get(ctx, "/v1/"+string(name)+"/document", url.Values{"at": {at}})
	if err != nil {
		return nil, err
	}
	doc, err := document.ReadCanonical(body)
	if err != nil {
		return nil, fmt.Errorf("library %s: record %s: %w", r.base, name, err)
	}
	return library.NewEntry(doc), nil
}

// maxBody bounds an answer: a page of a thousand records at most.
const maxBody = 64 << 20

func (r *remote) get(ctx context.Context, path string, query url.Values) ([]byte, http.Header, error) {
	u := *r.base
	u.Path += path
	u.RawQuery = query.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return nil, nil, err
	}
	req.Header.Set("Accept", "application/json")
	if r.token != "" {
		req.Header.Set("Authorization", "Bearer "+r.token)
	}
	resp, err := r.client.Do(req)
	if err != nil {
		var failed *url.Error
		if errors.As(err, &failed) {
			err = failed.Err
		}
		return nil, nil, fmt.Errorf("library %s does not answer: %w", r.base, err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, maxBody+1))
	switch {
	case err != nil:
		return nil, nil, fmt.Errorf("library %s broke off: %w", r.base, err)
	case len(body) > maxBody:
		return nil, nil, fmt.Errorf("library %s answers %s with more than %d bytes", r.base, path, maxBody)
	case resp.StatusCode != http.StatusOK:
		return nil, nil, fmt.Errorf("library %s answers %s with %s%s", r.base, path, resp.Status, problem(body))
	}
	return body, resp.Header, nil
}

// problem returns the detail of an RFC 9457 answer.
func problem(body []byte) string {
	var p struct{ Detail string }
	if json.Unmarshal(body, &p) != nil || p.Detail == "" {
		return ""
	}
	return ": " + p.Detail
}

func (r *remote) odd(collection string) error {
	return fmt.Errorf("library %s does not answer %s as a proofload server does; is the address right?", r.base, collection)
}
