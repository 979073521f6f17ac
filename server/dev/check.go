package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
)

// part is one step of the check. It returns how many tests it ran, where it
// runs any; a part without tests of its own counts as one.
type part struct {
	name string
	line string
	run  func(ctx context.Context, c *checker) (tally, error)
}

func parts() []part {
	return []part{
		{"tools", "what this machine works with", tools},
		{"format", "gofmt has nothing to change", format},
		{"build", "trunk for the phone, web app, server", build},
		{"vet", "go vet, for this machine and for the phone", vet},
		{"floats", "no fused multiply-add in what phone and server share", floats},
		{"sizes", "what a first visit downloads", sizes},
		{"types", "svelte-check and tsc", types},
		{"units", "vitest", units},
		{"go", "Go tests with the race detector", goTests},
		{"figures", "what the computations keep on simulated gearboxes", figures},
		{"wasm", "the trunk's own tests as they run on the phone", wasmTests},
		{"fuzz", "a few seconds of each fuzz target", fuzz},
		{"browser", "browser tests against the real server", browserTests},
	}
}

// checker is one run of the check.
type checker struct {
	*tree
	chromium string // set by the tools part
	note     string // what a part wants said in the table
}

// outcome is one row of the table at the end.
type outcome struct {
	part  part
	tests tally
	took  time.Duration
	note  string
	err   error
}

func check(ctx context.Context, t *tree, args []string) error {
	chosen, err := choose(args)
	if err != nil {
		return err
	}
	c := &checker{tree: t}
	var rows []outcome
	var total tally
	for i, p := range chosen {
		t.say("\n== %d/%d %s: %s", i+1, len(chosen), p.name, p.line)
		c.note = ""
		begin := time.Now()
		n, err := p.run(ctx, c)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		switch {
		case err != nil && n.failed == 0:
			n.failed = 1
		case err == nil && n == (tally{}):
			n.passed = 1
		}
		rows = append(rows, outcome{p, n, time.Since(begin), c.note, err})
		total = total.plus(n)
		if err != nil {
			t.say("-- %s failed: %v", p.name, err)
			break
		}
		t.say("-- %s done in %s", p.name, seconds(time.Since(begin)))
	}
	c.table(rows, len(chosen))
	t.say("%d passed, %d failed", total.passed, total.failed)
	if total.failed > 0 {
		return errors.New("the check failed")
	}
	return nil
}

// choose reads the flags -only and -skip.
func choose(args []string) ([]part, error) {
	flags := flag.NewFlagSet("check", flag.ContinueOnError)
	only := flags.String("only", "", "run only these steps, separated by commas")
	skip := flags.String("skip", "", "leave these steps out, separated by commas")
	if err := flags.Parse(args); err != nil {
		return nil, err
	}
	all := parts()
	for _, name := range strings.FieldsFunc(*only+","+*skip, func(r rune) bool { return r == ',' }) {
		if !slices.ContainsFunc(all, func(p part) bool { return p.name == name }) {
			return nil, fmt.Errorf("check has no step %q", name)
		}
	}
	wanted, unwanted := strings.Split(*only, ","), strings.Split(*skip, ",")
	return slices.DeleteFunc(all, func(p part) bool {
		return *only != "" && !slices.Contains(wanted, p.name) || slices.Contains(unwanted, p.name)
	}), nil
}

// table prints one row a step; those after a failure were not run.
func (c *checker) table(rows []outcome, planned int) {
	c.say("")
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "step\tstate\ttests\ttime\tnote")
	var sum time.Duration
	for _, r := range rows {
		state := "ok"
		if r.err != nil {
			state = "FAILED"
		}
		tests := ""
		if n := r.tests.passed + r.tests.failed; n > 1 {
			tests = fmt.Sprint(n)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", r.part.name, state, tests, seconds(r.took), r.note)
		sum += r.took
	}
	fmt.Fprintf(w, "together\t\t\t%s\t\n", seconds(sum))
	w.Flush()
	if len(rows) < planned {
		c.say("%d steps after the failure were not run", planned-len(rows))
	}
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }
