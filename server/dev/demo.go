package main

import (
	"context"
	"flag"
	"os"
)

// demo builds what is not up to date and serves demo data until it is stopped.
func demo(ctx context.Context, t *tree, args []string) error {
	flags := flag.NewFlagSet("demo", flag.ContinueOnError)
	addr := flags.String("addr", "127.0.0.1:8080", "address to listen on")
	fresh := flags.Bool("fresh", false, "forget what was recorded in the demo before")
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
	if *fresh {
		if err := os.RemoveAll(t.demoData()); err != nil {
			return err
		}
	}
	t.say("the demo's data is in %s and stays there; Ctrl-C stops the server", t.short(t.demoData()))
	return t.serveDemo(ctx, bin, *addr)
}

func (t *tree) demoData() string { return t.path(".tmp", "demo") }

// serveDemo runs the server until ctx ends, which stops it cleanly.
func (t *tree) serveDemo(ctx context.Context, bin, addr string) error {
	err := t.run(ctx, step{argv: []string{bin, "serve", "-demo", "-log", "warn", "-data", t.demoData(), "-addr", addr}})
	if ctx.Err() != nil {
		return nil
	}
	return err
}
