package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

const minNode = 20

// wasmOut and appOut are what the two builds leave behind.
func (t *tree) wasmOut() string { return t.path("pwa", "src", "core", "brimline.wasm") }
func (t *tree) appOut() string  { return t.path("pwa", "dist", "app") }

// buildWasm compiles the trunk for the phone and lays Go's own loader beside it.
func (t *tree) buildWasm(ctx context.Context) error {
	goroot, err := t.output(ctx, t.root, "go", "env", "GOROOT")
	if err != nil {
		return err
	}
	t.say("building the trunk for the phone: %s", t.short(t.wasmOut()))
	err = t.run(ctx, step{
		env: []string{"GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0"},
		// Inlining is kept where speed is wanted, in the computation; elsewhere
		// it only makes every phone download 60 kB more.
		argv: []string{"go", "build", "-trimpath", "-ldflags=-s -w", "-gcflags=all=-l", "-gcflags=brimline/schema/physics=", "-o", t.wasmOut(), "./pwa/wasm"},
	})
	if err != nil {
		return err
	}
	loader := filepath.Join(goroot, "lib", "wasm", "wasm_exec.js")
	text, err := os.ReadFile(loader)
	if err != nil {
		return fmt.Errorf("go's loader for wasm: %w", err)
	}
	return os.WriteFile(t.path("pwa", "src", "core", "wasm_exec.js"), text, 0o644)
}

// buildApp installs the npm packages if they are not those of the lock file,
// then builds the web app.
func (t *tree) buildApp(ctx context.Context) error {
	if err := t.packages(ctx); err != nil {
		return err
	}
	t.say("building the web app: %s", t.short(t.appOut()))
	return t.run(ctx, step{dir: t.path("pwa"), argv: npm("run", "build")})
}

// packages runs npm ci where node_modules is absent or older than the lock file.
func (t *tree) packages(ctx context.Context) error {
	if err := t.needNode(ctx); err != nil {
		return err
	}
	lock := t.path("pwa", "package-lock.json")
	mark := t.path("pwa", "node_modules", ".package-lock.json")
	if !newer(lock, mark) {
		return nil
	}
	t.say("installing the npm packages of pwa/package-lock.json into pwa/node_modules")
	if err := t.run(ctx, step{dir: t.path("pwa"), argv: npm("ci", "--no-audit", "--no-fund")}); err != nil {
		return err
	}
	now := time.Now()
	return os.Chtimes(mark, now, now) // npm may keep the older time of its cache
}

// needNode says what is missing where Node is absent or too old.
func (t *tree) needNode(ctx context.Context) error {
	text, err := t.output(ctx, t.root, "node", "--version")
	if err != nil {
		return fmt.Errorf("node %d or newer is needed on the path: %w", minNode, err)
	}
	major, _, _ := strings.Cut(strings.TrimPrefix(text, "v"), ".")
	if n, err := strconv.Atoi(major); err != nil || n < minNode {
		return fmt.Errorf("node %s is too old; version %d or newer is needed", text, minNode)
	}
	return nil
}

// buildFresh builds the trunk and the web app where their sources are newer.
func (t *tree) buildFresh(ctx context.Context) error {
	trunk := []string{"go.mod", "go.sum", "schema", "sync", "pwa/wasm"}
	stale, err := t.stale(t.wasmOut(), trunk...)
	if err != nil {
		return err
	}
	if stale {
		if err := t.buildWasm(ctx); err != nil {
			return err
		}
	}
	stale, err = t.stale(filepath.Join(t.appOut(), "index.html"), "pwa/src", "pwa/public", "pwa/index.html",
		"pwa/package.json", "pwa/package-lock.json", "pwa/vite.config.ts", "pwa/tsconfig.json")
	if err != nil || !stale {
		return err
	}
	return t.buildApp(ctx)
}

// buildServer builds the server, with the web app inside, and returns its path.
func (t *tree) buildServer(ctx context.Context) (string, error) {
	bin := t.binary("brimline")
	t.say("building the server: %s", t.short(bin))
	return bin, t.run(ctx, step{env: []string{"CGO_ENABLED=0"}, argv: []string{"go", "build", "-trimpath", "-o", bin, "./server"}})
}

// stale reports whether output is absent or older than any file of the inputs,
// which are files or folders below the root; a missing input is passed over.
func (t *tree) stale(output string, inputs ...string) (bool, error) {
	for _, in := range inputs {
		newest := false
		err := filepath.WalkDir(t.path(filepath.FromSlash(in)), func(p string, d fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case d.IsDir() || p == output:
				return nil
			case newer(p, output):
				newest = true
				return fs.SkipAll
			}
			return nil
		})
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return false, err
		}
		if newest {
			return true, nil
		}
	}
	return false, nil
}

// newer reports whether b is absent or was written before a.
func newer(a, b string) bool {
	x, errA := os.Stat(a)
	y, errB := os.Stat(b)
	return errB != nil || errA == nil && x.ModTime().After(y.ModTime())
}

// short is a path as a person at the root would type it.
func (t *tree) short(p string) string {
	if rel, err := filepath.Rel(t.root, p); err == nil {
		return rel
	}
	return p
}
