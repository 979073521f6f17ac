package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// tree is the repository on this machine, and where a task says what it does.
type tree struct {
	root string
	out  io.Writer
}

// openTree finds the module this program was started in.
//
// It fails when the current folder belongs to another module.
func openTree(ctx context.Context, out io.Writer) (*tree, error) {
	t := &tree{out: out}
	file, err := t.output(ctx, "", "go", "env", "GOMOD")
	if err != nil {
		return nil, err
	}
	t.root = filepath.Dir(file)
	text, err := os.ReadFile(file)
	if err != nil || !bytes.HasPrefix(text, []byte("module brimline\n")) {
		return nil, errors.New("not inside the brimline module; change to its folder first")
	}
	return t, nil
}

// path joins parts to the repository's root.
func (t *tree) path(parts ...string) string {
	return filepath.Join(append([]string{t.root}, parts...)...)
}

func (t *tree) say(format string, args ...any) { fmt.Fprintf(t.out, format+"\n", args...) }

// step is one program to run.
type step struct {
	dir  string   // "" is the root
	env  []string // added to this process's own
	out  io.Writer
	argv []string
}

// run runs the step to its end; its output goes to out, or to the tree's.
//
// When ctx ends, the program is interrupted, and killed if it has not ended
// ten seconds later.
func (t *tree) run(ctx context.Context, s step) error {
	cmd := exec.CommandContext(ctx, s.argv[0], s.argv[1:]...)
	cmd.Dir = s.dir
	if s.dir == "" {
		cmd.Dir = t.root
	}
	cmd.Env = append(os.Environ(), s.env...)
	cmd.Stdout, cmd.Stderr = t.out, t.out
	if s.out != nil {
		cmd.Stdout, cmd.Stderr = s.out, s.out
	}
	if runtime.GOOS != "windows" {
		cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	}
	cmd.WaitDelay = 10 * time.Second
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return fmt.Errorf("%s: %w", strings.Join(s.argv, " "), err)
	}
	return nil
}

// goRun runs the go command in the root.
func (t *tree) goRun(ctx context.Context, args ...string) error {
	return t.run(ctx, step{argv: append([]string{"go"}, args...)})
}

// output runs a program in dir and returns what it printed, trimmed.
func (t *tree) output(ctx context.Context, dir, name string, args ...string) (string, error) {
	var out, bad bytes.Buffer
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = dir
	cmd.Stdout, cmd.Stderr = &out, &bad
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("%s %s: %w\n%s%s", name, strings.Join(args, " "), err, out.Bytes(), bad.Bytes())
	}
	return strings.TrimSpace(out.String()), nil
}

// npm is the npm command; on Windows it is a script with an ending.
func npm(args ...string) []string {
	if runtime.GOOS == "windows" {
		return append([]string{"npm.cmd"}, args...)
	}
	return append([]string{"npm"}, args...)
}

// binary is a path for a program built here.
func (t *tree) binary(name string) string {
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return t.path(".tmp", "bin", name)
}
