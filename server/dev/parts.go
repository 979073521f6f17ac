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
	"regexp"
	"runtime"
	"strings"
)

// goFolders hold all Go code; pwa/node_modules is not among them.
var goFolders = []string{"api", "schema", "server", "sync", "pwa/embed.go", "pwa/wasm"}

// portable are the packages that run on the phone as well.
var portable = []string{"./schema/...", "./sync/merge", "./sync/phone"}

func tools(ctx context.Context, c *checker) (tally, error) {
	if err := c.needNode(ctx); err != nil {
		return tally{}, err
	}
	chromium, err := c.browser(ctx)
	if err != nil {
		return tally{}, err
	}
	c.chromium = chromium
	c.compiler(ctx)
	versions := []string{fmt.Sprintf("%s/%s, %d cores", runtime.GOOS, runtime.GOARCH, runtime.NumCPU())}
	for _, argv := range [][]string{{"go", "version"}, {"node", "--version"}, npm("--version"), {chromium, "--version"}} {
		text, err := c.output(ctx, c.root, argv[0], argv[1:]...)
		if err != nil {
			return tally{}, err
		}
		name := strings.TrimSuffix(filepath.Base(argv[0]), filepath.Ext(argv[0]))
		versions = append(versions, fmt.Sprintf("%-9s %s", name, text))
	}
	for _, v := range versions {
		c.say("%s", v)
	}
	return tally{}, nil
}

// compiler makes sure of a C compiler, which the race detector needs to be
// linked; without one the tests run without the detector, and the table says so.
func (c *checker) compiler(ctx context.Context) {
	if hasCompiler() {
		return
	}
	if err := c.install(ctx, "gcc", "the race detector"); err != nil {
		c.say("%v", err)
		return
	}
	if err := c.install(ctx, "libc6-dev", "the race detector"); err != nil {
		c.say("%v", err)
	}
}

func hasCompiler() bool {
	for _, name := range []string{os.Getenv("CC"), "gcc", "clang"} {
		if _, err := exec.LookPath(name); name != "" && err == nil {
			return true
		}
	}
	return false
}

func format(ctx context.Context, c *checker) (tally, error) {
	gofmt, err := exec.LookPath("gofmt")
	if err != nil { // it stands beside the go command even where that alone is on the path
		goroot, err := c.output(ctx, c.root, "go", "env", "GOROOT")
		if err != nil {
			return tally{}, err
		}
		gofmt = filepath.Join(goroot, "bin", "gofmt")
	}
	var out bytes.Buffer
	if err := c.run(ctx, step{out: &out, argv: append([]string{gofmt, "-l"}, goFolders...)}); err != nil {
		return tally{}, fmt.Errorf("%w\n%s", err, out.Bytes())
	}
	if out.Len() > 0 {
		return tally{}, fmt.Errorf("run gofmt -w on\n%s", out.Bytes())
	}
	return tally{}, nil
}

func build(ctx context.Context, c *checker) (tally, error) {
	if err := c.buildWasm(ctx); err != nil {
		return tally{}, err
	}
	if err := c.buildApp(ctx); err != nil {
		return tally{}, err
	}
	_, err := c.buildServer(ctx)
	return tally{}, err
}

func vet(ctx context.Context, c *checker) (tally, error) {
	if err := c.goRun(ctx, "vet", "./..."); err != nil {
		return tally{}, err
	}
	return tally{}, c.run(ctx, step{env: []string{"GOOS=js", "GOARCH=wasm"}, argv: append([]string{"go", "vet", "./pwa/wasm"}, portable...)})
}

// goTests runs every Go test; those of packages that share memory between
// goroutines with the race detector. The trunk has no goroutines, and the demo
// is minutes of arithmetic: the detector would only make them ten times slower.
func goTests(ctx context.Context, c *checker) (tally, error) {
	all, err := c.output(ctx, c.root, "go", "list", "./...")
	if err != nil {
		return tally{}, err
	}
	var shared, alone []string
	for _, pkg := range strings.Fields(all) {
		path := strings.TrimPrefix(pkg, "brimline/")
		if path != "server/demo" && (strings.HasPrefix(path, "server") || strings.HasPrefix(path, "sync/")) {
			shared = append(shared, pkg)
		} else {
			alone = append(alone, pkg)
		}
	}
	race := []string{"go", "test", "-json", "-timeout=10m", "-race"}
	if !hasCompiler() {
		race = race[:len(race)-1]
		c.note = "WITHOUT the race detector: no C compiler here"
	}
	n, err := c.goTest(ctx, step{argv: append(race, shared...)})
	if err != nil {
		return n, err
	}
	more, err := c.goTest(ctx, step{argv: append([]string{"go", "test", "-json", "-timeout=10m"}, alone...)})
	return n.plus(more), err
}

func wasmTests(ctx context.Context, c *checker) (tally, error) {
	goroot, err := c.output(ctx, c.root, "go", "env", "GOROOT")
	if err != nil {
		return tally{}, err
	}
	runner := filepath.Join(goroot, "lib", "wasm", "go_js_wasm_exec")
	argv := append([]string{"go", "test", "-json", "-timeout=10m", "-short", "-exec", runner}, portable...)
	return c.goTest(ctx, step{env: []string{"GOOS=js", "GOARCH=wasm"}, argv: argv})
}

// goTest runs one `go test -json`, shows what matters of it and counts.
func (c *checker) goTest(ctx context.Context, s step) (tally, error) {
	in, pipe := io.Pipe()
	s.out = pipe
	ended := make(chan error, 1)
	go func() {
		err := c.run(ctx, s)
		pipe.Close()
		ended <- err
	}()
	n, err := readGo(in, c.out)
	in.Close()
	if runErr := <-ended; runErr != nil {
		return n, runErr
	}
	if err == nil && n.passed == 0 {
		err = errors.New("no test ran")
	}
	if n.skipped > 0 {
		c.note = strings.TrimPrefix(fmt.Sprintf("%s; %d skipped", c.note, n.skipped), "; ")
	}
	return n, err
}

// fused are the arm64 instructions that round once where two roundings were written.
var fused = regexp.MustCompile(`\(([^()]*\.go:\d+)\)\s+(FN?M(?:ADD|SUB)[DS])\b`)

// floats compiles what the phone and the server share for a processor that has
// fused multiply-add and looks for it: a phone's wasm has none, so a fused
// server would differ in the last bits.
func floats(ctx context.Context, c *checker) (tally, error) {
	shared, err := c.output(ctx, c.root, "go", "list", "-deps", "-f={{if not .Standard}}{{.ImportPath}}{{end}}", "./schema/procedure")
	if err != nil {
		return tally{}, err
	}
	var out bytes.Buffer
	err = c.run(ctx, step{out: &out, env: []string{"GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0"},
		argv: append([]string{"go", "build", "-gcflags=-S"}, strings.Fields(shared)...)})
	if err != nil {
		return tally{}, fmt.Errorf("%w\n%s", err, tail(out.Bytes(), 4000))
	}
	if !bytes.Contains(out.Bytes(), []byte("FMULD")) {
		return tally{}, errors.New("the compiler's listing shows no floating-point code; the guard cannot see")
	}
	places := map[string]bool{}
	var list []string
	for _, m := range fused.FindAllSubmatch(out.Bytes(), -1) {
		at := c.short(string(m[1])) + " " + string(m[2])
		if !places[at] {
			places[at] = true
			list = append(list, at)
		}
	}
	if len(list) > 0 {
		return tally{}, fmt.Errorf("write float64(x*y) + z at these places:\n%s", strings.Join(list, "\n"))
	}
	return tally{}, nil
}

func tail(b []byte, n int) []byte { return b[max(0, len(b)-n):] }

var fuzzTarget = regexp.MustCompile(`(?m)^func (Fuzz\w+)\(f \*testing\.F\)`)

const fuzzSeconds = "5s"

// fuzz gives each target a short run beyond its seeds, which the Go tests run anyway.
func fuzz(ctx context.Context, c *checker) (tally, error) {
	var n tally
	for _, folder := range []string{"schema", "sync", "server", "api"} {
		files, err := filepath.Glob(c.path(folder, "*_test.go"))
		if err != nil {
			return n, err
		}
		for _, pattern := range []string{"*", "*/*"} {
			deeper, err := filepath.Glob(c.path(folder, filepath.FromSlash(pattern), "*_test.go"))
			if err != nil {
				return n, err
			}
			files = append(files, deeper...)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				return n, err
			}
			for _, m := range fuzzTarget.FindAllSubmatch(text, -1) {
				pkg := "./" + filepath.ToSlash(c.short(filepath.Dir(file)))
				if err := c.goRun(ctx, "test", pkg, "-run=^$", "-fuzz=^"+string(m[1])+"$", "-fuzztime="+fuzzSeconds); err != nil {
					return n, err
				}
				n.passed++
			}
		}
	}
	if n.passed == 0 {
		return n, errors.New("there is no fuzz target")
	}
	return n, nil
}

func types(ctx context.Context, c *checker) (tally, error) {
	if err := c.packages(ctx); err != nil {
		return tally{}, err
	}
	return tally{}, c.run(ctx, step{dir: c.path("pwa"), argv: npm("run", "check")})
}

func units(ctx context.Context, c *checker) (tally, error) {
	if err := c.packages(ctx); err != nil {
		return tally{}, err
	}
	var out bytes.Buffer
	err := c.run(ctx, step{dir: c.path("pwa"), out: io.MultiWriter(c.out, &out), argv: npm("test")})
	n := readVitest(out.Bytes())
	if err == nil && n.passed == 0 {
		err = errors.New("no test ran")
	}
	return n, err
}

// browserTests runs pwa/e2e with Node's own test runner.
func browserTests(ctx context.Context, c *checker) (tally, error) {
	env, err := c.browserEnv(ctx)
	if err != nil {
		return tally{}, err
	}
	files, err := filepath.Glob(c.path("pwa", "e2e", "*.test.mjs"))
	if err != nil || len(files) == 0 {
		return tally{}, errors.Join(errors.New("there are no browser tests in pwa/e2e"), err)
	}
	var out bytes.Buffer
	argv := append([]string{"node", "--test", "--test-reporter=spec", "--test-concurrency=1"}, files...)
	err = c.run(ctx, step{dir: c.path("pwa"), env: env, out: io.MultiWriter(c.out, &out), argv: argv})
	n := readNode(out.Bytes())
	if err == nil && n.passed == 0 {
		err = errors.New("no test ran")
	}
	return n, err
}

// browserEnv builds what the browser tests drive and tells them where it is.
func (c *checker) browserEnv(ctx context.Context) ([]string, error) {
	if c.chromium == "" {
		chromium, err := c.browser(ctx)
		if err != nil {
			return nil, err
		}
		c.chromium = chromium
	}
	if err := c.buildFresh(ctx); err != nil {
		return nil, err
	}
	bin, err := c.buildServer(ctx)
	return []string{"CHROMIUM=" + c.chromium, "BRIMLINE_BIN=" + bin}, err
}
