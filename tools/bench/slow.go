package main

import (
	"context"
	"fmt"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// slowClients is how many there are beside the healthy one.
const slowClients = 1000

// slow measures what a healthy caller waits at most, 99 times of 100, while a
// thousand clients take or give a byte a second.
func slow(ctx context.Context, w *world) (m measured, err error) {
	err = w.withService(ctx, func(s *service) error {
		name := w.fasteners()[0]
		// Callers of one connection need every answer to be as long as the first.
		if _, _, err := fetch(ctx, s.httpAddress, name); err != nil {
			return err
		}
		healthy, err := call(s.httpAddress, "/v1/"+string(name), "", "200 OK")
		if err != nil {
			return err
		}
		defer healthy.conn.Close()
		ctx, stop := context.WithCancel(ctx)
		var wg sync.WaitGroup
		var cut atomic.Int64
		defer wg.Wait()
		defer stop()
		for i := range slowClients {
			wg.Go(func() { cut.Add(crawl(ctx, s.httpAddress, i%2 == 0)) })
		}
		m, err = w.each(ctx, time.Millisecond, func(context.Context, int) (time.Duration, error) {
			const calls = 500
			took := make([]float64, calls)
			for i := range took {
				begin := time.Now()
				if err := healthy.again(); err != nil {
					return 0, err
				}
				took[i] = float64(time.Since(begin))
				time.Sleep(time.Millisecond) // a person's shop app, not a load
			}
			return time.Duration(quantile(took, 0.99)), nil
		})
		stop()
		wg.Wait()
		m.note = fmt.Sprintf("%d slow clients cut off and come again", cut.Load())
		return err
	})
	return m, err
}

// crawl returns or takes a byte a second until the context ends, and connects again
// when it is cut off. It returns how often it was.
func crawl(ctx context.Context, address string, giving bool) (cut int64) {
	request := "GET /v1/fasteners?page_size=100 HTTP/1.1\r\nHost: " + address + "\r\nAccept: application/json\r\n\r\n"
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for ctx.Err() == nil {
		conn, err := net.Dial("tcp", address)
		if err != nil {
			return cut
		}
		if !giving {
			// A small window, so that the server has to wait.
			conn.(*net.TCPConn).SetReadBuffer(1024)
			conn.Write([]byte("GET /v1/fasteners?page_size=100 HTTP/1.1\r\nHost: " + address + "\r\n\r\n"))
		}
		one := make([]byte, 1)
		for i := 0; err == nil; i++ {
			select {
			case <-ctx.Done():
				conn.Close()
				return cut
			case <-tick.C:
			}
			conn.SetDeadline(time.Now().Add(time.Minute))
			if giving {
				_, err = conn.Write([]byte{request[i%len(request)]})
			} else {
				_, err = conn.Read(one)
			}
		}
		conn.Close()
		cut++
	}
	return cut
}
