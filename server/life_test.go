package main

import (
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc/health/grpc_health_v1"

	pb "proofload/api/proofload/v1"
)

// lazyBody is a request body that ends when it is told to.
type lazyBody struct {
	first io.Reader
	end   chan struct{}
}

func (b *lazyBody) Read(p []byte) (int, error) {
	if n, err := b.first.Read(p); err == nil {
		return n, nil
	}
	<-b.end
	return 0, io.EOF
}

// slowRequest starts a request that is under way until it is let go.
func slowRequest(t *testing.T, r *running) (finish func(), answer chan int) {
	t.Helper()
	body := &lazyBody{strings.NewReader(`{"thread":"M10"}`), make(chan struct{})}
	answer = make(chan int, 1)
	reached := make(chan struct{})
	go func() {
		req, err := http.NewRequest("POST", "http://"+r.http+"/v1/joint:evaluate", body)
		if err != nil {
			answer <- -1
			return
		}
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("Expect", "100-continue")
		transport := &http.Transport{ExpectContinueTimeout: 30 * time.Second}
		defer transport.CloseIdleConnections()
		close(reached)
		resp, err := transport.RoundTrip(req)
		if err != nil {
			answer <- -1
			return
		}
		resp.Body.Close()
		answer <- resp.StatusCode
	}()
	<-reached
	time.Sleep(300 * time.Millisecond) // until the handler waits for the body
	return func() { close(body.end) }, answer
}

// A signal: health says so, nobody new is let in, what is under way is finished.
func TestDrain(t *testing.T) {
	r := start(t, "--empty")
	health, err := grpc_health_v1.NewHealthClient(dialed(t, r)).Watch(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: "proofload.v1.Specs"})
	if err != nil {
		t.Fatal(err)
	}
	expect := func(want grpc_health_v1.HealthCheckResponse_ServingStatus) {
		t.Helper()
		got, err := health.Recv()
		if err != nil || got.Status != want {
			t.Fatalf("health says %v, %v; want %s", got, err, want)
		}
	}
	expect(grpc_health_v1.HealthCheckResponse_SERVING)
	finish, answer := slowRequest(t, r)
	r.signals <- syscall.SIGTERM
	expect(grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	select {
	case err := <-r.done:
		t.Fatalf("server stopped with a request under way: %v", err)
	case <-time.After(200 * time.Millisecond):
	}
	if conn, err := net.DialTimeout("tcp", r.http, time.Second); err == nil {
		conn.Close()
		t.Error("a stopping server takes new connections")
	}
	finish()
	if status := <-answer; status != http.StatusOK {
		t.Errorf("request under way was answered %d, want 200", status)
	}
	select {
	case err := <-r.done:
		if err != nil {
			t.Errorf("server ended with %v", err)
		}
		r.done <- nil
	case <-time.After(11 * time.Second):
		t.Fatal("server did not stop")
	}
}

func TestSecondSignalStopsAtOnce(t *testing.T) {
	r := start(t, "--empty")
	finish, answer := slowRequest(t, r)
	begin := time.Now()
	r.signals <- os.Interrupt
	r.signals <- os.Interrupt
	select {
	case err := <-r.done:
		if err == nil || !strings.Contains(err.Error(), "second signal") || time.Since(begin) > 5*time.Second {
			t.Errorf("server ended after %s with %v", time.Since(begin), err)
		}
		r.done <- nil
	case <-time.After(11 * time.Second):
		t.Fatal("server did not stop")
	}
	finish()
	<-answer
}

func TestStartUpErrors(t *testing.T) {
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer busy.Close()
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	if err := os.WriteFile(file, []byte("this is no database, but long enough to look at: "+strings.Repeat("x", 4096)), 0o600); err != nil {
		t.Fatal(err)
	}
	running := "sqlite:" + filepath.Join(folder, "running.db")
	ctx, cancel := context.WithCancel(context.Background())
	other, err := launch(ctx, "--empty", "--store", running)
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	defer func() { cancel(); <-other.done }()
	free := []string{"--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--empty", "--create"}
	for _, c := range []struct {
		name string
		args []string
		says []string
	}{
		{"HTTP port in use", []string{"--http", busy.Addr().String(), "--store", "sqlite:" + filepath.Join(folder, "a.db")}, []string{busy.Addr().String(), "in use", "--http 127.0.0.1:PORT"}},
		{"gRPC port in use", []string{"--http", "127.0.0.1:0", "--grpc", busy.Addr().String()}, []string{"in use", "--grpc 127.0.0.1:PORT"}},
		{"open to the network", []string{"--http", "0.0.0.0:7450"}, []string{"0.0.0.0", "TLS and tokens", "127.0.0.1:PORT"}},
		{"every address", []string{"--grpc", ":7451"}, []string{"every address", "loopback"}},
		{"no port", []string{"--http", "localhost"}, []string{"host:port"}},
		{"unknown flag", []string{"--port", "80"}, []string{"-port", "--help"}},
		{"argument", []string{"serve"}, []string{`"serve"`, "--help"}},
		{"another engine", []string{"--store", "papyrus:x"}, []string{"papyrus:x", "sqlite:FILE"}},
		{"folder that cannot be made", append(free, "--store", "sqlite:"+file+"/deeper/x.db"), []string{"--store", "folder", "cannot be made"}},
		{"not a store", append(free, "--store", "sqlite:"+file), []string{"--store", "not a proofload store"}},
		{"store of a running server", append(free, "--store", running), []string{"--store", "running.db"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := run(t.Context(), c.args, io.Discard, io.Discard, nil)
			if err == nil {
				t.Fatal("server started")
			}
			for _, s := range c.says {
				if !strings.Contains(err.Error(), s) {
					t.Errorf("error %q does not say %q", err, s)
				}
			}
		})
	}
}

func TestHelp(t *testing.T) {
	var out bytes.Buffer
	if err := run(t.Context(), []string{"--help"}, &out, io.Discard, nil); err != nil {
		t.Fatal(err)
	}
	for _, flag := range []string{"-http", "-grpc", "-store", "-empty", "-verbose"} {
		if !strings.Contains(out.String(), flag+"\n") && !strings.Contains(out.String(), flag+" ") {
			t.Errorf("help does not name %s:\n%s", flag, out.String())
		}
	}
}

// What it prints can be pasted: the addresses in the commands answer.
func TestGreeting(t *testing.T) {
	for _, want := range []string{
		"curl -H 'Accept: text/plain' http://" + demoServer.http + "/v1/vehicles/", "go tool grpcurl -plaintext -d ", demoServer.grpc + " proofload.v1.Specs/GetFastener", "/v1/documents:lint", "demo data",
	} {
		if !strings.Contains(demoServer.greeting, want) {
			t.Errorf("greeting does not say %q:\n%s", want, demoServer.greeting)
		}
	}
}

// A store keeps what it holds over a restart and is not filled again; --empty
// leaves a new one empty.
func TestRestart(t *testing.T) {
	path := "sqlite:" + filepath.Join(t.TempDir(), "keep.db")
	for range 2 {
		ctx, cancel := context.WithCancel(context.Background())
		r, err := launch(ctx, "--empty", "--store", path)
		if err != nil {
			cancel()
			t.Fatal(err)
		}
		if !strings.Contains(r.greeting, "position 0, 0 revisions") {
			t.Errorf("an empty store greets with %q", r.greeting)
		}
		c := dial(t, r)
		list, err := c.Specs.ListVehicles(t.Context(), &pb.ListVehiclesRequest{})
		if err != nil || len(list.Vehicles) != 0 {
			t.Errorf("an empty store lists %v, %v", list, err)
		}
		if x := doAt(t, r, "GET", "/", "", "Accept", "text/html"); x.status != http.StatusOK {
			t.Errorf("first page of an empty library: %d", x.status)
		}
		cancel()
		if err := <-r.done; err != nil {
			t.Fatal(err)
		}
	}
}
