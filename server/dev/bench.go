package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"text/tabwriter"
)

// forecastLimitMS is the longest that one forecast may take on a slow phone.
const forecastLimitMS = 10.0

// browserBench is what pwa/e2e/bench.mjs measures, in milliseconds.
type browserBench struct {
	Throttle   float64   `json:"throttle"`
	AppMS      []float64 `json:"app_ms"`      // offline cold launch until the first data is painted
	EmptyMS    []float64 `json:"empty_ms"`    // the same for a page with nothing in it
	ForecastMS []float64 `json:"forecast_ms"` // one forecast in wasm on the main thread
}

// row is one line of the table: a measured value, its peer, their ratio.
type row struct{ what, ours, peer, ratio string }

// bench prints the performance table. Every ratio comes from one run on this
// machine, our side and its peer in turn.
//
// `bench physics` is another table: what the computations keep on simulated gearboxes.
func bench(ctx context.Context, t *tree, args []string) error {
	if len(args) > 0 && args[0] == "physics" {
		return benchPhysics(ctx, t, args[1:])
	}
	c := &checker{tree: t}
	env, err := c.browserEnv(ctx)
	if err != nil {
		return err
	}
	all, err := t.measureInstall()
	if err != nil {
		return err
	}
	goBench, err := t.goBench(ctx)
	if err != nil {
		return err
	}
	t.say("measuring cold launches and the forecast in the browser")
	var out bytes.Buffer
	if err := t.run(ctx, step{dir: t.path("pwa"), env: env, out: &out, argv: []string{"node", t.path("pwa", "e2e", "bench.mjs")}}); err != nil {
		return fmt.Errorf("%w\n%s", err, out.Bytes())
	}
	var seen browserBench
	if err := json.Unmarshal(lastLine(out.Bytes()), &seen); err != nil {
		return fmt.Errorf("read the browser's figures: %w\n%s", err, out.Bytes())
	}
	rows, err := benchRows(seen, all, goBench)
	if err != nil {
		return err
	}
	t.printBench(ctx, c.chromium, rows)
	return nil
}

func lastLine(text []byte) []byte {
	lines := bytes.Split(bytes.TrimSpace(text), []byte("\n"))
	return lines[len(lines)-1]
}

const benchRuns = 5

var benchLine = regexp.MustCompile(`(?m)^Benchmark(\S+?)(?:-\d+)?\s+\d+\s+([0-9.]+) ns/op(?:\s+([0-9.]+) changes/s)?`)

// goBench runs the Go side of the table and returns the values of each
// benchmark: changes per second where it reports them, else milliseconds.
func (t *tree) goBench(ctx context.Context) (map[string][]float64, error) {
	t.say("measuring the forecast and durable pushes natively, %d runs each", benchRuns)
	var out bytes.Buffer
	err := t.run(ctx, step{out: &out, argv: []string{"go", "test", "-run=^$", "-bench=.", "-benchtime=1s",
		"-count=" + strconv.Itoa(benchRuns), "./server/dev"}})
	if err != nil {
		return nil, fmt.Errorf("%w\n%s", err, out.Bytes())
	}
	values := map[string][]float64{}
	for _, m := range benchLine.FindAllSubmatch(out.Bytes(), -1) {
		text, scale := m[2], 1e-6
		if len(m[3]) > 0 {
			text, scale = m[3], 1
		}
		v, err := strconv.ParseFloat(string(text), 64)
		if err != nil {
			return nil, err
		}
		values[string(m[1])] = append(values[string(m[1])], v*scale)
	}
	return values, nil
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	if len(s) == 0 {
		return 0
	}
	return s[len(s)/2]
}

func benchRows(seen browserBench, all install, values map[string][]float64) ([]row, error) {
	for _, name := range []string{"Forecast", "Durable/push/one", "Durable/raw/one", "Durable/push/phones16", "Durable/raw/phones16", "Durable/push/batch50", "Durable/raw/batch50"} {
		if len(values[name]) != benchRuns {
			return nil, fmt.Errorf("benchmark %s gave %d values, not %d", name, len(values[name]), benchRuns)
		}
	}
	if len(seen.AppMS) == 0 || len(seen.EmptyMS) == 0 || len(seen.ForecastMS) == 0 {
		return nil, fmt.Errorf("the browser gave no figures: %+v", seen)
	}
	slow := fmt.Sprintf("processor %g× slower", seen.Throttle)
	app, empty := median(seen.AppMS), median(seen.EmptyMS)
	wasm, native := median(seen.ForecastMS), median(values["Forecast"])
	rows := []row{
		{fmt.Sprintf("offline cold launch to usable, %s (median of %d) : an empty cached page", slow, len(seen.AppMS)),
			fmt.Sprintf("%.0f ms", app), fmt.Sprintf("%.0f ms", empty), fmt.Sprintf("%.2f", app/empty)},
		{"first install as sent : its limit", fmt.Sprintf("%d kB", all.sentBytes/1000), fmt.Sprintf("%d kB", installLimitBytes/1000),
			fmt.Sprintf("%.2f", float64(all.sentBytes)/installLimitBytes)},
		{"  of it the wasm : its limit", fmt.Sprintf("%d kB", all.wasmBytes/1000), fmt.Sprintf("%d kB", wasmLimitBytes/1000),
			fmt.Sprintf("%.2f", float64(all.wasmBytes)/wasmLimitBytes)},
		{fmt.Sprintf("one forecast, 30 readings, wasm, %s (median of %d, best %.1f ms) : its limit", slow, len(seen.ForecastMS), slices.Min(seen.ForecastMS)),
			fmt.Sprintf("%.2f ms", wasm), fmt.Sprintf("%.0f ms", forecastLimitMS), fmt.Sprintf("%.2f", wasm/forecastLimitMS)},
		{"  the same : native at full speed", fmt.Sprintf("%.2f ms", wasm), fmt.Sprintf("%.2f ms", native), fmt.Sprintf("%.1f", wasm/native)},
	}
	for _, way := range [][2]string{{"one", "one change at a time"}, {"phones16", "16 phones at once, one change each"}, {"batch50", "50 changes a push"}} {
		push, raw := median(values["Durable/push/"+way[0]]), median(values["Durable/raw/"+way[0]])
		rows = append(rows, row{"durable changes a second, " + way[1] + " : raw inserts", fmt.Sprintf("%.0f", push), fmt.Sprintf("%.0f", raw), fmt.Sprintf("%.2f", push/raw)})
	}
	return rows, nil
}

func (t *tree) printBench(ctx context.Context, chromium string, rows []row) {
	versions := fmt.Sprintf("%s/%s, %d cores, %s", runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version())
	for _, argv := range [][]string{{"node", "--version"}, {chromium, "--version"}} {
		if text, err := t.output(ctx, t.root, argv[0], argv[1:]...); err == nil {
			versions += ", " + text
		}
	}
	t.say("\n%s", versions)
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "what : peer\tours\tpeer\tratio")
	for _, r := range rows {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", r.what, r.ours, r.peer, r.ratio)
	}
	w.Flush()
	t.say("The throttle slows the page's main thread, not its workers; pushes include no network.")
}
