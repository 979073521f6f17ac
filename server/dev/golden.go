package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// sameWithin is how far two machines may differ, relatively.
const sameWithin = 1e-9

// vector is one golden vector: an input, where its figures come from, and the output.
type vector struct {
	Name   string          `json:"name"`
	Source string          `json:"source"`
	Input  json.RawMessage `json:"input"`
	Output json.RawMessage `json:"output"`
}

// golden computes every vector of testdata/physics anew and names those that
// differ. With -write it also writes the new figures, so that the difference
// can be read before it is committed. A vector from outside this program must
// not be written over without a reason: its source says so.
func golden(ctx context.Context, t *tree, args []string) error {
	flags := flag.NewFlagSet("golden", flag.ContinueOnError)
	write := flags.Bool("write", false, "write the new figures into testdata/physics")
	if err := flags.Parse(args); err != nil {
		return err
	}
	bin, err := t.buildServer(ctx)
	if err != nil {
		return err
	}
	files, err := filepath.Glob(t.path("testdata", "physics", "*.json"))
	if err != nil {
		return err
	}
	differ := 0
	for _, file := range files {
		n, err := t.goldenFile(ctx, bin, file, *write)
		if err != nil {
			return fmt.Errorf("%s: %w", t.short(file), err)
		}
		differ += n
	}
	t.say("%d files, %d vectors differ", len(files), differ)
	if differ > 0 && !*write {
		return errors.New("run it with -write, then read the difference")
	}
	return nil
}

func (t *tree) goldenFile(ctx context.Context, bin, file string, write bool) (int, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return 0, err
	}
	var vectors []vector
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&vectors); err != nil {
		t.say("%s is not a list of vectors; left alone", t.short(file))
		return 0, nil
	}
	outputs, err := compute(ctx, bin, strings.TrimSuffix(filepath.Base(file), ".json"), vectors)
	if err != nil {
		return 0, err
	}
	differ := 0
	for i, got := range outputs {
		if why := difference(vectors[i].Output, got); why != "" {
			t.say("%s, %q: %s (source: %s)", t.short(file), vectors[i].Name, why, vectors[i].Source)
			vectors[i].Output = got
			differ++
		}
	}
	if differ == 0 || !write {
		return differ, nil
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(vectors); err != nil {
		return differ, err
	}
	return differ, os.WriteFile(file, out.Bytes(), 0o644)
}

// compute runs all inputs of one computation through the server's command.
func compute(ctx context.Context, bin, name string, vectors []vector) ([]json.RawMessage, error) {
	var in, out, bad bytes.Buffer
	for _, v := range vectors {
		if err := json.Compact(&in, v.Input); err != nil {
			return nil, err
		}
		in.WriteByte('\n')
	}
	cmd := exec.CommandContext(ctx, bin, "compute", name)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &in, &out, &bad
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("compute %s: %w\n%s", name, err, bad.Bytes())
	}
	lines := bytes.Split(bytes.TrimSpace(out.Bytes()), []byte("\n"))
	if len(lines) != len(vectors) {
		return nil, fmt.Errorf("compute %s gave %d lines for %d inputs", name, len(lines), len(vectors))
	}
	outputs := make([]json.RawMessage, len(lines))
	for i, line := range lines {
		outputs[i] = json.RawMessage(line)
	}
	return outputs, nil
}

// difference says where got differs from want in more than sameWithin, or "".
func difference(want, got json.RawMessage) string {
	var a, b any
	if json.Unmarshal(want, &a) != nil || json.Unmarshal(got, &b) != nil {
		return "is not JSON"
	}
	return differs("output", a, b)
}

func differs(at string, a, b any) string {
	switch x := a.(type) {
	case float64:
		if y, ok := b.(float64); ok && math.Abs(x-y) <= sameWithin*math.Max(1, math.Max(math.Abs(x), math.Abs(y))) {
			return ""
		}
	case map[string]any:
		if y, ok := b.(map[string]any); ok && len(x) == len(y) {
			for k, v := range x {
				if why := differs(at+"."+k, v, y[k]); why != "" {
					return why
				}
			}
			return ""
		}
	case []any:
		if y, ok := b.([]any); ok && len(x) == len(y) {
			for i, v := range x {
				if why := differs(fmt.Sprintf("%s[%d]", at, i), v, y[i]); why != "" {
					return why
				}
			}
			return ""
		}
	default:
		if a == b {
			return ""
		}
	}
	return fmt.Sprintf("%s was %v and is %v", at, a, b)
}
