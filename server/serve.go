package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"syscall"
	"time"

	"brimline/pwa"
	"brimline/server/auth"
	"brimline/server/demo"
	"brimline/server/store"
	"brimline/server/web"
)

// Bounds on one connection. A phone at the edge of the network needs its time
// for a push; nobody needs more for the head of a request.
const (
	headWait    = 5 * time.Second
	bodyWait    = 2 * time.Minute
	answerWait  = 2 * time.Minute
	idleWait    = 60 * time.Second
	maxHeadSize = 16 << 10
)

// serve runs the server until ctx ends or a signal asks it to, then lets
// running requests finish.
func serve(ctx context.Context, w world, args []string) error {
	c, err := readConfig(w, args)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	log := slog.New(slog.NewJSONHandler(w.err, &slog.HandlerOptions{Level: c.logLevel}))
	s, err := store.Open(ctx, c.data, web.Replay)
	if err != nil {
		return err
	}
	err = listen(ctx, w, c, s, log)
	if e := s.Close(); e != nil {
		err = errors.Join(err, fmt.Errorf("close database: %w", e))
	}
	return err
}

func listen(ctx context.Context, w world, c config, s *store.Store, log *slog.Logger) error {
	if c.demo {
		if err := loadDemo(ctx, w, s); err != nil {
			return err
		}
	}
	a, err := auth.New(s, c.data, time.Now)
	if err != nil {
		return err
	}
	handler, err := web.New(s, a, web.Settings{Secure: c.publicURL.Scheme == "https", App: pwa.Files(), Log: log, Clock: time.Now})
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", c.addr)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	server := &http.Server{Handler: handler, ReadHeaderTimeout: headWait, ReadTimeout: bodyWait, WriteTimeout: answerWait, IdleTimeout: idleWait,
		MaxHeaderBytes: maxHeadSize, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	fmt.Fprintf(w.out, "Brimline is at http://%s\n", listener.Addr())
	select {
	case err := <-ended:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	wait, cancel := context.WithTimeout(context.WithoutCancel(ctx), c.stopWait)
	defer cancel()
	if err := server.Shutdown(wait); err != nil {
		return fmt.Errorf("stop: %w", err)
	}
	return nil
}

// loadDemo fills the database with invented records and prints the sign-ins.
func loadDemo(ctx context.Context, w world, s *store.Store) error {
	people, err := demo.Load(ctx, s, time.Now())
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	for _, p := range people {
		fmt.Fprintf(w.out, "Sign in as %s (%s): %s  %s\n", p.Name, p.Role, p.Email, p.Password)
	}
	return nil
}
