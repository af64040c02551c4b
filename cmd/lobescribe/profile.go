package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/pprof"
	"time"

	"lobescribe/dashboard/door"
)

// profile serves the Go profiler's pages at addr, on a listener of their own:
// they tell what is in memory, and so they are never among the page's, and only
// for this machine, whatever --lan says. The same door keeps out other web
// pages and rebound names. It returns a function that ends it.
func profile(addr string) (stop func() error, err error) {
	host, _, err := net.SplitHostPort(addr)
	if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsLoopback() {
		return nil, wrongWords("--pprof %q must be an address of this machine alone with a port, as in 127.0.0.1:6060", addr)
	}
	guard, err := door.New(door.Options{})
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("open the profiler's address: %w (another port may be free)", err)
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /debug/pprof/", pprof.Index)
	mux.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	mux.HandleFunc("GET /debug/pprof/symbol", pprof.Symbol)
	server := &http.Server{Handler: guard.Guard(mux), ReadHeaderTimeout: 5 * time.Second}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	return func() error {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if err := server.Shutdown(ctx); err != nil {
			_ = server.Close() // a profile was being taken; it is given up
		}
		if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}, nil
}
