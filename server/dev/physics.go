package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"brimline/schema/physics"
	"brimline/schema/physics/calibration"
	"brimline/schema/physics/gearbox"
)

// What streaming must keep: time for one forecast on one core, and the growth of
// memory from a quarter of the lines to all of them.
const (
	streamLines       = 10_000
	streamLimitMS     = 2.0
	streamGrowthLimit = 1.25
)

// benchPhysics tries the computations on simulated gearboxes and prints what they
// keep as Markdown: calibration, learning, streaming. It fails if a limit is broken.
func benchPhysics(ctx context.Context, t *tree, args []string) error {
	flags := flag.NewFlagSet("bench physics", flag.ContinueOnError)
	path := flags.String("o", "", "also write the tables into this file")
	share := flags.Float64("share", 1, "try only this share of the gearboxes, 0.05 to 1")
	fuzzed := flags.Duration("fuzz", 0, "instead of the tables, fuzz each computation for so long, such as 10s")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if *fuzzed > 0 {
		return t.fuzzComputations(ctx, *fuzzed)
	}
	e := calibration.Effort{Share: min(1, max(0.05, *share))}
	figures, err := calibration.Figures(t.path("testdata", "gearboxes", "calibration.json"), e)
	if err != nil {
		return err
	}
	var text bytes.Buffer
	if err := calibration.Write(&text, figures, e); err != nil {
		return err
	}
	held, err := t.streamTable(ctx, &text)
	if err != nil {
		return err
	}
	if _, err := t.out.Write(text.Bytes()); err != nil {
		return err
	}
	if *path != "" {
		if err := os.WriteFile(*path, text.Bytes(), 0o644); err != nil {
			return fmt.Errorf("write the tables: %w", err)
		}
	}
	for _, f := range figures {
		held = held && f.Held(e)
	}
	if !held {
		return fmt.Errorf("a figure does not keep its limit; see NO in the tables")
	}
	return nil
}

// fuzzComputations gives every computation the same time, one after the other.
func (t *tree) fuzzComputations(ctx context.Context, each time.Duration) error {
	names := physics.Names()
	for i, c := range names {
		t.say("%d/%d %s", i+1, len(names), c.Name)
		err := t.run(ctx, step{env: []string{"BRIMLINE_FUZZ=" + c.Name}, argv: []string{"go", "test", "./schema/physics",
			"-run=^$", "-fuzz=^FuzzCompute$", "-fuzztime=" + each.String()}})
		if err != nil {
			return err
		}
	}
	return nil
}

// figures holds the calibration at its limits with a part of the trials. It runs without
// the race detector, under which these tests would take minutes and find nothing.
func figures(ctx context.Context, c *checker) (tally, error) {
	return c.goTest(ctx, step{argv: []string{"go", "test", "-json", "-timeout=10m", "./schema/physics/calibration"}})
}

// streamTable runs forecasts through the real command and says what they took.
func (t *tree) streamTable(ctx context.Context, text *bytes.Buffer) (held bool, err error) {
	bin, err := t.buildServer(ctx)
	if err != nil {
		return false, err
	}
	few, err := streamForecasts(ctx, bin, streamLines/4)
	if err != nil {
		return false, err
	}
	all, err := streamForecasts(ctx, bin, streamLines)
	if err != nil {
		return false, err
	}
	perLineMS := all.processor.Seconds() * 1000 / streamLines
	growth, memory := 1.0, "not measured here"
	if few.peakKB > 0 {
		growth = float64(all.peakKB) / float64(few.peakKB)
		memory = fmt.Sprintf("%d kB after %d lines, %d kB after %d", few.peakKB, streamLines/4, all.peakKB, streamLines)
	}
	held = perLineMS <= streamLimitMS && growth <= streamGrowthLimit
	word := map[bool]string{true: "yes", false: "NO"}
	fmt.Fprintf(text, "\n| streaming | value | limit | held |\n|---|---|---|---|\n")
	fmt.Fprintf(text, "| processor time of one warmup-forecast, 4 to 30 readings, %d lines through compute on one core | %.2f ms | at most %.0f ms | %s |\n",
		streamLines, perLineMS, streamLimitMS, word[perLineMS <= streamLimitMS])
	fmt.Fprintf(text, "| peak memory | %s | at most %.2f times | %s |\n", memory, streamGrowthLimit, word[growth <= streamGrowthLimit])
	return held, nil
}

// streamed is what a run of the command took.
type streamed struct {
	processor time.Duration
	peakKB    int64
}

// streamForecasts feeds the command line by line and reads its answers.
func streamForecasts(ctx context.Context, bin string, lines int) (streamed, error) {
	cmd := exec.CommandContext(ctx, bin, "compute", "warmup-forecast")
	cmd.Env = append(os.Environ(), "GOMAXPROCS=1")
	var bad bytes.Buffer
	cmd.Stderr = &bad
	in, err := cmd.StdinPipe()
	if err != nil {
		return streamed{}, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return streamed{}, err
	}
	if err := cmd.Start(); err != nil {
		return streamed{}, err
	}
	fed := make(chan error, 1)
	go func() { fed <- feedForecasts(in, lines) }()
	var s streamed
	read := 0
	answers := bufio.NewScanner(out)
	answers.Buffer(nil, 1<<20)
	for read < lines && answers.Scan() {
		if bytes.HasPrefix(answers.Bytes(), []byte(`{"error"`)) {
			bad.Write(answers.Bytes())
		}
		read++
	}
	feedErr := <-fed
	s.peakKB = peakKB(cmd.Process.Pid)
	in.Close()
	if err := cmd.Wait(); err != nil || feedErr != nil || read != lines || bad.Len() > 0 {
		return s, fmt.Errorf("compute answered %d of %d lines: %v, %v %s", read, lines, err, feedErr, tail(bad.Bytes(), 500))
	}
	s.processor = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return s, nil
}

// feedForecasts writes checks of simulated gearboxes with 4 to 30 readings, one a line.
func feedForecasts(out io.Writer, lines int) error {
	w := bufio.NewWriter(out)
	for i := range lines {
		g := gearbox.Draw(uint64(i%500), gearbox.Base())
		g.EngineOn = true
		in := physics.WarmupForecastInput{AmbientC: g.AmbientC, Window: physics.Window{LowC: 30, HighC: 50}, RemainingS: &physics.Normal{Mean: 300, SD: 60}}
		for range 4 + i%27 {
			tempC, _ := g.Reading()
			in.Readings, in.NowS = append(in.Readings, physics.WarmupReading{TS: g.TimeS, TempC: tempC}), g.TimeS
			g.Step(60)
		}
		line, err := json.Marshal(in)
		if err != nil {
			return err
		}
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return w.Flush()
}

// peakKB is the most memory a process has held, as Linux keeps it; 0 elsewhere.
func peakKB(pid int) int64 {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "status"))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, err := strconv.ParseInt(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")), 10, 64)
			if err == nil {
				return kb
			}
		}
	}
	return 0
}
