package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"runtime"
)

// browser returns the path of a Chromium: the one that CHROMIUM names, one on
// the path, or Debian's, installed where that is allowed.
func (t *tree) browser(ctx context.Context) (string, error) {
	if p := os.Getenv("CHROMIUM"); p != "" {
		return exec.LookPath(p)
	}
	names := []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"}
	if runtime.GOOS == "darwin" {
		names = append(names, "/Applications/Chromium.app/Contents/MacOS/Chromium", "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome")
	}
	for _, name := range names {
		if p, err := exec.LookPath(name); err == nil {
			return p, nil
		}
	}
	if err := t.install(ctx, "chromium", "the browser tests"); err != nil {
		return "", err
	}
	return exec.LookPath("chromium")
}

// install installs one Debian package, saying so, or fails with the line to run.
func (t *tree) install(ctx context.Context, name, reason string) error {
	apt, err := exec.LookPath("apt-get")
	if err != nil {
		return errors.New(name + " is needed for " + reason + "; install it and put it on the path (a browser may also be named by CHROMIUM)")
	}
	line := "sudo apt-get update && sudo apt-get install --yes --no-install-recommends " + name
	if os.Geteuid() != 0 {
		return errors.New(name + " is needed for " + reason + "; run: " + line)
	}
	t.say("installing Debian's %s with apt for %s", name, reason)
	if err := t.run(ctx, step{argv: []string{apt, "update"}}); err != nil {
		return err
	}
	return t.run(ctx, step{env: []string{"DEBIAN_FRONTEND=noninteractive"},
		argv: []string{apt, "install", "--yes", "--no-install-recommends", name}})
}
