package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"

	"proofload/server/rest"
	"proofload/specdata"
)

const restCallers = 32

func restHot(ctx context.Context, w *world) (measured, error) { return w.rest(ctx, false) }

func rest304(ctx context.Context, w *world) (measured, error) { return w.rest(ctx, true) }

// rest measures reads of one fastener a caller; unchanged says that the caller has
// the answer already.
func (w *world) rest(ctx context.Context, unchanged bool) (m measured, err error) {
	err = w.withService(ctx, func(s *service) error {
		names := w.fasteners()
		if len(names) < restCallers {
			return fmt.Errorf("library has %d fasteners; %d are needed", len(names), restCallers)
		}
		static := http.NewServeMux()
		ours := make([]*caller, restCallers)
		ceiling := make([]*caller, restCallers)
		status := "200 OK"
		if unchanged {
			status = "304 Not Modified"
		}
		// As the service is served, but for the handler.
		server := rest.NewServer(nil, slog.New(slog.DiscardHandler))
		server.Handler = static
		address, err := serveOn(server.Serve)
		if err != nil {
			return err
		}
		defer server.Close()
		for i := range restCallers {
			body, tag, err := fetch(ctx, s.httpAddress, names[i])
			if err != nil {
				return err
			}
			path := "/" + strconv.Itoa(i)
			static.Handle(path, fixed(body, tag))
			condition := ""
			if unchanged {
				condition = "If-None-Match: " + tag + "\r\n"
			}
			if ours[i], err = call(s.httpAddress, "/v1/"+string(names[i]), condition, status); err != nil {
				return err
			}
			defer ours[i].conn.Close()
			if ceiling[i], err = call(address, path, "", "200 OK"); err != nil {
				return err
			}
			defer ceiling[i].conn.Close()
		}
		m, err = w.duel(ctx,
			w.callers(restCallers, func(_ context.Context, i int) error { return ours[i].again() }),
			w.callers(restCallers, func(_ context.Context, i int) error { return ceiling[i].again() }))
		return err
	})
	return m, err
}

// fixed is the ceiling: the least that answers with these bytes and their tag.
func fixed(body []byte, tag string) http.HandlerFunc {
	media, length, tags := []string{"application/json"}, []string{strconv.Itoa(len(body))}, []string{tag}
	return func(w http.ResponseWriter, _ *http.Request) {
		h := w.Header()
		h["Content-Type"], h["Content-Length"], h["Etag"] = media, length, tags
		w.Write(body)
	}
}

func fetch(ctx context.Context, address string, name specdata.Name) (body []byte, tag string, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/v1/"+string(name), nil)
	if err != nil {
		return nil, "", err
	}
	// The measured callers ask for plain bytes, whose tag is another than that of packed ones.
	r.Header.Set("Accept-Encoding", "identity")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, "", err
	}
	defer answer.Body.Close()
	body, err = io.ReadAll(answer.Body)
	if err == nil && (answer.StatusCode != http.StatusOK || answer.Header.Get("ETag") == "") {
		err = fmt.Errorf("GET %s answered %s without an ETag or not at all", name, answer.Status)
	}
	return body, answer.Header.Get("ETag"), err
}

// caller asks the same again and again over one connection. It costs less than a
// HTTP client, which would cost more than the servers it is to compare: it knows
// from the first answer how long all of them are.
type caller struct {
	conn    net.Conn
	request []byte
	answer  []byte
	status  string
}

func call(address, path, condition, status string) (*caller, error) {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return nil, err
	}
	c := &caller{conn: conn, status: "HTTP/1.1 " + status, request: []byte("GET " + path + " HTTP/1.1\r\nHost: " + address + "\r\nAccept: application/json\r\n" + condition + "\r\n")}
	if err := c.first(); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return c, nil
}

// first learns the length of the answers.
func (c *caller) first() error {
	c.conn.SetReadDeadline(time.Now().Add(10 * time.Second))
	defer c.conn.SetReadDeadline(time.Time{})
	if _, err := c.conn.Write(c.request); err != nil {
		return err
	}
	size, body := 0, 0
	for r := bufio.NewReader(c.conn); ; {
		line, err := r.ReadString('\n')
		if err != nil {
			return err
		}
		size += len(line)
		if n, ok := strings.CutPrefix(line, "Content-Length: "); ok {
			if body, err = strconv.Atoi(strings.TrimSpace(n)); err != nil {
				return err
			}
		}
		if line == "\r\n" {
			c.answer = make([]byte, size+body)
			_, err = io.CopyN(io.Discard, r, int64(body))
			return err
		}
	}
}

func (c *caller) again() error {
	if _, err := c.conn.Write(c.request); err != nil {
		return err
	}
	if _, err := io.ReadFull(c.conn, c.answer); err != nil {
		return err
	}
	if !strings.HasPrefix(string(c.answer[:len(c.status)]), c.status) {
		return fmt.Errorf("answer begins %q, want %s", c.answer[:len(c.status)], c.status)
	}
	return nil
}
