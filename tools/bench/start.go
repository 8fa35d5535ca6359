package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	pb "proofload/api/proofload/v1"
)

// start starts the service on the library as it was left and waits for a read.
func start(ctx context.Context, w *world) (measured, error) {
	file, err := w.library(ctx)
	if err != nil {
		return measured{}, err
	}
	names := w.fasteners()
	m, err := w.each(ctx, time.Millisecond, func(ctx context.Context, i int) (time.Duration, error) {
		begin := time.Now()
		p, err := startProcess(ctx, file)
		if err != nil {
			return 0, err
		}
		conn, err := dial(p.address)
		if err == nil {
			err = invoke(ctx, conn, pb.Specs_GetFastener_FullMethodName, request(names[i%len(names)]), 0)
			err = errors.Join(err, conn.Close())
		}
		took := time.Since(begin)
		return took, errors.Join(err, p.stop())
	})
	m.note = fmt.Sprintf("%d records", w.size(usualStored))
	return m, err
}

// memory reads records of the library, each as often as any other, and looks how
// much memory the service has then.
func memory(ctx context.Context, w *world) (m measured, err error) {
	file, err := w.library(ctx)
	if err != nil {
		return m, err
	}
	p, err := startProcess(ctx, file)
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, p.stop()) }()
	conn, err := dial(p.address)
	if err != nil {
		return m, err
	}
	defer conn.Close()
	names := w.fasteners()
	var next atomic.Int64
	read := w.callers(grpcCallers, func(ctx context.Context, _ int) error {
		return invoke(ctx, conn, pb.Specs_GetFastener_FullMethodName, request(names[int(next.Add(1))%len(names)]), 0)
	})
	for begin := time.Now(); len(m.ours) == 0 || time.Since(begin) < w.time; {
		if _, _, err := read(ctx); err != nil {
			return m, err
		}
		mib, err := resident(p.cmd.Process.Pid)
		if err != nil {
			return m, err
		}
		m.ours = append(m.ours, mib)
	}
	// What it has grown to is the answer, not what it had on the way.
	m.ours = m.ours[len(m.ours)-1:]
	m.note = fmt.Sprintf("%d records, %d reads", w.size(usualStored), next.Load())
	return m, nil
}

// resident returns the resident memory of a process in MiB, as Linux tells it.
func resident(pid int) (float64, error) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, fmt.Errorf("memory of another process can be read on Linux only: %w", err)
	}
	_, rest, _ := strings.Cut(string(status), "VmRSS:")
	rest, _, _ = strings.Cut(rest, "kB")
	kib, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
	return kib / 1024, err
}
