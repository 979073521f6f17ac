package main

import (
	"context"
	"flag"
)

// demo builds what is not up to date and serves demo data until it is stopped.
func demo(ctx context.Context, t *tree, args []string) error {
	flags := flag.NewFlagSet("demo", flag.ContinueOnError)
	addr := flags.String("addr", "127.0.0.1:8080", "address to listen on")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if err := t.buildFresh(ctx); err != nil {
		return err
	}
	bin, err := t.buildServer(ctx)
	if err != nil {
		return err
	}
	return t.serveDemo(ctx, bin, *addr)
}

// serveDemo runs the server until ctx ends, which stops it cleanly.
func (t *tree) serveDemo(ctx context.Context, bin, addr string) error {
	folder := t.path(".tmp", "demo")
	err := t.run(ctx, step{argv: []string{bin, "serve", "-demo", "-data", folder, "-addr", addr}})
	if ctx.Err() != nil {
		return nil
	}
	return err
}
