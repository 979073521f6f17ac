package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"brimline/schema/fault"
	"brimline/schema/physics"
	"brimline/schema/procedure"
	"brimline/testdata"
)

// maxLineBytes bounds one line of input.
const maxLineBytes = 4 << 20

// compute runs one computation on each line of standard input, in order. It
// holds one line at a time. A bad line gives {"error":{…}} on its line and the
// run goes on; the exit code then is 1.
func compute(ctx context.Context, w world, args []string) error {
	switch {
	case len(args) == 0:
		return listComputations(w)
	case len(args) == 2 && args[1] == "--schema":
		return printSchemas(w, args[0])
	case len(args) == 2 && args[1] == "--help":
		return explain(w, args[0])
	case len(args) > 1:
		return fmt.Errorf("compute takes one name, and --schema or --help; %w", errUsage)
	}
	if !known(args[0]) {
		return fmt.Errorf("%q is not a computation; compute alone lists them; %w", args[0], errUsage)
	}
	in := bufio.NewReaderSize(w.in, 64<<10)
	out := bufio.NewWriterSize(w.out, 64<<10)
	bad := false
	for ctx.Err() == nil {
		line, long, err := readLine(in)
		if len(bytes.TrimSpace(line)) > 0 || long {
			answer, failed := computeLine(args[0], line, long)
			bad = bad || failed
			if _, err := out.Write(append(answer, '\n')); err != nil {
				return fmt.Errorf("write result: %w", err)
			}
			if in.Buffered() == 0 { // whoever waits for this answer before the next line gets it
				if err := out.Flush(); err != nil {
					return fmt.Errorf("write result: %w", err)
				}
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(fmt.Errorf("read input: %w", err), out.Flush())
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	if bad {
		return errLines
	}
	return ctx.Err()
}

// readLine returns the next line without its end, or says that it was longer
// than maxLineBytes and passes over it.
func readLine(in *bufio.Reader) (line []byte, long bool, err error) {
	for {
		part, err := in.ReadSlice('\n')
		if !long {
			if len(line)+len(part) > maxLineBytes {
				line, long = nil, true
			} else {
				line = append(line, part...)
			}
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, long, err
		}
	}
}

func computeLine(name string, line []byte, long bool) (answer []byte, failed bool) {
	if long {
		return errorLine(fault.Bad("line.long", "", "the line is too long; at most 4 MiB")), true
	}
	out, err := procedure.Compute(name, line)
	if err != nil {
		f := fault.As(err)
		if f == nil {
			f = fault.New(fault.Internal, "internal", "", err.Error())
		}
		return errorLine(f), true
	}
	return out, false
}

// errorLine encodes a fault. Its fields are strings, which always can be.
func errorLine(f *fault.Error) []byte {
	type told struct {
		Code    string `json:"code"`
		Field   string `json:"field"`
		Message string `json:"message"`
	}
	out, err := json.Marshal(map[string]told{"error": {f.Code, f.Field, f.Message}})
	if err != nil {
		return []byte(`{"error":{"code":"internal","field":"","message":""}}`)
	}
	return out
}

func known(name string) bool {
	for _, c := range procedure.Names() {
		if c.Name == name {
			return true
		}
	}
	return false
}

func listComputations(w world) error {
	for _, c := range procedure.Names() {
		fmt.Fprintf(w.out, "%-20s %s\n", c.Name, c.Line)
	}
	return nil
}

// explain prints what a computation does and a worked example: the first of
// its golden vectors, computed now.
func explain(w world, name string) error {
	if !known(name) {
		return fmt.Errorf("%q is not a computation; compute alone lists them; %w", name, errUsage)
	}
	for _, c := range procedure.Names() {
		if c.Name == name {
			fmt.Fprintf(w.out, "%s: %s\n", c.Name, c.Line)
		}
	}
	text, err := testdata.Vectors.ReadFile("physics/" + name + ".json")
	if errors.Is(err, fs.ErrNotExist) {
		return nil // the whole check: its input is a log of hundreds of lines
	}
	var vectors []struct {
		Name, Source string
		Input        json.RawMessage
	}
	if err == nil {
		err = json.Unmarshal(text, &vectors)
	}
	if err != nil || len(vectors) == 0 {
		return fmt.Errorf("worked example of %s: %w", name, err)
	}
	var input bytes.Buffer
	if err := json.Compact(&input, vectors[0].Input); err != nil {
		return fmt.Errorf("worked example of %s: %w", name, err)
	}
	output, err := procedure.Compute(name, input.Bytes())
	if err != nil {
		return fmt.Errorf("worked example of %s: %w", name, err)
	}
	fmt.Fprintf(w.out, "\nexample: %s\nsource:  %s\n\n%s\n%s\n", vectors[0].Name, vectors[0].Source, input.Bytes(), output)
	return nil
}

// printSchemas prints the JSON Schemas of input and output, one to a line.
func printSchemas(w world, name string) error {
	input, output, err := physics.Schema(name)
	if name == "check-replay" {
		input, output = replaySchemas()
	} else if err != nil {
		return fmt.Errorf("%w; %w", err, errUsage)
	}
	fmt.Fprintf(w.out, "%s\n%s\n", input, output)
	return nil
}
