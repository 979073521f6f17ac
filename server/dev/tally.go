package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"strconv"
)

// tally counts tests.
type tally struct{ passed, failed, skipped int }

func (a tally) plus(b tally) tally {
	return tally{a.passed + b.passed, a.failed + b.failed, a.skipped + b.skipped}
}

// maxLine bounds one line of a test's output.
const maxLine = 4 << 20

// goEvent is one line of `go test -json`.
type goEvent struct {
	Action, Package, Test, Output string
}

// readGo reads `go test -json` from in, writes to out the line of each package
// and the whole output of each test that failed, and counts the tests.
func readGo(in io.Reader, out io.Writer) (tally, error) {
	var n tally
	held := map[string]*bytes.Buffer{}
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 64<<10), maxLine)
	for lines.Scan() {
		var e goEvent
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			fmt.Fprintf(out, "%s\n", lines.Bytes()) // the go command itself speaks
			continue
		}
		key := e.Package + "\x00" + e.Test
		switch {
		case e.Action == "build-output":
			io.WriteString(out, e.Output)
		case e.Action == "output" && e.Test == "":
			if e.Output != "PASS\n" {
				io.WriteString(out, e.Output)
			}
		case e.Action == "output":
			if held[key] == nil {
				held[key] = &bytes.Buffer{}
			}
			held[key].WriteString(e.Output)
		case e.Test == "":
		case e.Action == "pass":
			n.passed++
			delete(held, key)
		case e.Action == "skip":
			n.skipped++
			flush(out, held[key])
		case e.Action == "fail":
			n.failed++
			flush(out, held[key])
		}
	}
	return n, lines.Err()
}

func flush(out io.Writer, b *bytes.Buffer) {
	if b != nil {
		out.Write(b.Bytes())
	}
}

// The last lines of vitest and of Node's test runner.
var (
	colours     = regexp.MustCompile("\x1b\\[[0-9;]*m")
	vitestLine  = regexp.MustCompile(`(?m)^\s*Tests\s+(.*)$`)
	vitestCount = regexp.MustCompile(`(\d+) (passed|failed|skipped)`)
	nodeCount   = regexp.MustCompile(`(?m)^(?:#|ℹ) (pass|fail|skipped) (\d+)$`)
)

// readVitest counts the tests in vitest's own summary.
func readVitest(text []byte) tally {
	var n tally
	for _, line := range vitestLine.FindAllSubmatch(colours.ReplaceAll(text, nil), -1) {
		for _, c := range vitestCount.FindAllSubmatch(line[1], -1) {
			n.count(string(c[2]), string(c[1]))
		}
	}
	return n
}

// readNode counts the tests in the summary of Node's test runner.
func readNode(text []byte) tally {
	var n tally
	for _, c := range nodeCount.FindAllSubmatch(colours.ReplaceAll(text, nil), -1) {
		n.count(string(c[1]), string(c[2]))
	}
	return n
}

func (a *tally) count(word, digits string) {
	k, err := strconv.Atoi(digits)
	if err != nil {
		return
	}
	switch word {
	case "passed", "pass":
		a.passed += k
	case "failed", "fail":
		a.failed += k
	case "skipped":
		a.skipped += k
	}
}
