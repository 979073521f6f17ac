package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// Budgets of a first visit, as sent: brotli where there is one.
const (
	installLimitBytes = 1_100_000
	wasmLimitBytes    = 850_000
)

// install is what a phone fetches before it can work without a network.
type install struct {
	files              int
	sentBytes, rawSize int64
	wasmBytes          int64
}

// listed are the entries of the release's list as they stand in the built
// service worker: the address and the SHA-256 of each file.
var listed = regexp.MustCompile("\\[\\s*[\"'`](/[^\"'`]*)[\"'`]\\s*,\\s*[\"'`][0-9a-f]{64}[\"'`]\\s*\\]")

// measureInstall adds up the files that the built service worker stores, and the worker.
func (t *tree) measureInstall() (install, error) {
	worker, err := os.ReadFile(filepath.Join(t.appOut(), "sw.js"))
	if err != nil {
		return install{}, fmt.Errorf("the built app has no service worker: %w", err)
	}
	var all install
	for _, m := range listed.FindAllSubmatch(worker, -1) {
		name := string(m[1])
		if name == "/" {
			name = "/index.html"
		}
		if err := all.add(filepath.Join(t.appOut(), filepath.FromSlash(name))); err != nil {
			return all, err
		}
	}
	if all.files == 0 || all.wasmBytes == 0 {
		return all, errors.New("the service worker's list of files was not found in sw.js, or has no wasm in it")
	}
	return all, all.add(filepath.Join(t.appOut(), "sw.js"))
}

func (all *install) add(file string) error {
	raw, err := os.Stat(file)
	if err != nil {
		return fmt.Errorf("listed by the service worker: %w", err)
	}
	sent := raw.Size()
	if small, err := os.Stat(file + ".br"); err == nil {
		sent = small.Size()
	}
	all.files++
	all.rawSize += raw.Size()
	all.sentBytes += sent
	if strings.HasSuffix(file, ".wasm") {
		all.wasmBytes += sent
	}
	return nil
}

func sizes(_ context.Context, c *checker) (tally, error) {
	all, err := c.measureInstall()
	if err != nil {
		return tally{}, err
	}
	c.note = fmt.Sprintf("first install %d kB of %d, wasm %d kB of %d", all.sentBytes/1000, installLimitBytes/1000, all.wasmBytes/1000, wasmLimitBytes/1000)
	c.say("%d files, %d bytes raw", all.files, all.rawSize)
	c.say("%s", c.note)
	switch {
	case all.sentBytes > installLimitBytes:
		return tally{}, fmt.Errorf("the first install sends %d bytes; the limit is %d", all.sentBytes, installLimitBytes)
	case all.wasmBytes > wasmLimitBytes:
		return tally{}, fmt.Errorf("the wasm sends %d bytes; the limit is %d", all.wasmBytes, wasmLimitBytes)
	}
	return tally{}, nil
}
