// Command server is Brimline's one program: it serves the web app and the
// interface, runs computations and manages people.
//
// This file only chooses the command; each has a file of its own, and nothing
// here knows how anything is done.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
)

// world is what a command may touch besides its arguments.
type world struct {
	in     io.Reader
	out    io.Writer
	err    io.Writer
	lookup func(string) (string, bool) // environment
}

// command is one line of the help.
type command struct {
	name, line string
	run        func(ctx context.Context, w world, args []string) error
}

func commands() []command {
	return []command{
		{"serve", "serve the web app and the interface until SIGTERM or Ctrl-C", serve},
		{"compute", "run one computation on JSON lines from standard input; without a name, list them", compute},
		{"user", "user add: add a person who signs in; the password comes from standard input", user},
		{"help", "say this, and every setting with its default", help},
	}
}

// errUsage ends the program with 2: it was called wrongly.
var errUsage = errors.New("see: help")

// errLines ends the program with 1 after everything was said line by line.
var errLines = errors.New("some lines gave an error")

func main() {
	os.Exit(run(context.Background(), world{os.Stdin, os.Stdout, os.Stderr, os.LookupEnv}, os.Args[1:]))
}

// run runs one command and returns the exit code.
func run(ctx context.Context, w world, args []string) int {
	if len(args) == 0 {
		args = []string{"help"}
	}
	for _, c := range commands() {
		if c.name != args[0] {
			continue
		}
		err := c.run(ctx, w, args[1:])
		switch {
		case err == nil:
			return 0
		case errors.Is(err, errLines):
			return 1
		case errors.Is(err, errUsage):
			fmt.Fprintln(w.err, err)
			return 2
		}
		fmt.Fprintf(w.err, "%s: %v\n", c.name, err)
		return 1
	}
	fmt.Fprintf(w.err, "%q is not a command; %v\n", args[0], errUsage)
	return 2
}

// help lists the commands and the settings.
func help(_ context.Context, w world, _ []string) error {
	fmt.Fprintln(w.out, "usage: server COMMAND [flags]")
	for _, c := range commands() {
		fmt.Fprintf(w.out, "  %-8s %s\n", c.name, c.line)
	}
	fmt.Fprintln(w.out, "\nsettings (flag of serve, environment, default)")
	for _, s := range settings() {
		fmt.Fprintf(w.out, "  -%-10s %-20s %-24q %s\n", s.flag, s.env, s.standard, s.line)
	}
	return nil
}
