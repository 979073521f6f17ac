// Command dev is the task runner: every task of this repository, from building
// the web app to the full check, in one program that needs only Go and Node.
//
// It uses the standard library alone, so that a fresh clone can start it before
// anything is installed. It installs nothing without saying so first, and
// nothing at all outside the repository except the browser and the C compiler
// that `check` needs, and those only as root on a system with apt.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
)

// command is one thing the runner can be asked to do.
type command struct {
	name string
	line string
	run  func(ctx context.Context, t *tree, args []string) error
}

func commands() []command {
	return []command{
		{"demo", "build everything, then serve demo data on 127.0.0.1:8080 (-addr to change) until Ctrl-C", demo},
		{"check", "everything that must hold before a change is accepted; -only and -skip choose steps by name", check},
		{"bench", "the performance table, as ratios measured in one run; bench physics is the calibration table (-o FILE, -share 0.1; -fuzz 10s fuzzes each computation)", bench},
		{"wasm", "build the trunk for the phone", func(ctx context.Context, t *tree, _ []string) error { return t.buildWasm(ctx) }},
		{"app", "build the web app", func(ctx context.Context, t *tree, _ []string) error { return t.buildApp(ctx) }},
		{"golden", "compute the golden vectors anew; read the difference before it is committed", golden},
		{"look", "screenshots of every screen into the folder that LOOK names (default .tmp/look)", look},
	}
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go followParent(ctx, cancel)

	err := run(ctx, os.Args[1:], os.Stdout)
	switch {
	case err == nil, errors.Is(err, errUsage):
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(os.Stderr, "dev: stopped")
	default:
		fmt.Fprintln(os.Stderr, "dev:", err)
	}
	if err != nil {
		os.Exit(1)
	}
}

var errUsage = errors.New("no such task")

func run(ctx context.Context, args []string, out io.Writer) error {
	if len(args) > 0 {
		for _, c := range commands() {
			if c.name == args[0] {
				t, err := openTree(ctx, out)
				if err != nil {
					return err
				}
				return c.run(ctx, t, args[1:])
			}
		}
	}
	fmt.Fprintln(out, "usage: go run ./server/dev TASK")
	for _, c := range commands() {
		fmt.Fprintf(out, "  %-7s %s\n", c.name, c.line)
	}
	return errUsage
}

// followParent ends the task when the `go run` that started it has died: a
// signal sent to that process alone would otherwise leave a server behind.
func followParent(ctx context.Context, cancel func()) {
	parent := os.Getppid()
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Second):
			if os.Getppid() != parent {
				cancel()
				return
			}
		}
	}
}
