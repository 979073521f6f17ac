package main

import (
	"bytes"
	"strings"
	"testing"
)

func TestReadGo(t *testing.T) {
	const in = `{"Action":"start","Package":"a"}
{"Action":"run","Package":"a","Test":"TestX"}
{"Action":"output","Package":"a","Test":"TestX","Output":"    x_test.go:3: got 1, want 2\n"}
{"Action":"fail","Package":"a","Test":"TestX"}
{"Action":"output","Package":"a","Test":"TestY","Output":"noise of a test that passes\n"}
{"Action":"pass","Package":"a","Test":"TestY"}
{"Action":"pass","Package":"a","Test":"TestY/part"}
{"Action":"output","Package":"a","Output":"FAIL\ta\t0.1s\n"}
{"Action":"fail","Package":"a"}
go: something to know
`
	var out bytes.Buffer
	n, err := readGo(strings.NewReader(in), &out)
	if err != nil {
		t.Fatal(err)
	}
	if want := (tally{passed: 2, failed: 1}); n != want {
		t.Errorf("got %+v, want %+v", n, want)
	}
	for text, shown := range map[string]bool{"got 1, want 2": true, "FAIL\ta": true, "something to know": true, "noise": false} {
		if got := strings.Contains(out.String(), text); got != shown {
			t.Errorf("%q shown: got %v, want %v", text, got, shown)
		}
	}
}

func TestReadSummaries(t *testing.T) {
	vitest := "\x1b[2m Test Files \x1b[22m 1 failed | 6 passed (7)\n\x1b[2m      Tests \x1b[22m \x1b[31m2 failed\x1b[39m | \x1b[32m95 passed\x1b[39m (97)\n"
	if got, want := readVitest([]byte(vitest)), (tally{passed: 95, failed: 2}); got != want {
		t.Errorf("vitest: got %+v, want %+v", got, want)
	}
	node := "✔ one (3ms)\nℹ tests 7\nℹ pass 6\nℹ fail 1\nℹ skipped 0\n"
	if got, want := readNode([]byte(node)), (tally{passed: 6, failed: 1}); got != want {
		t.Errorf("node: got %+v, want %+v", got, want)
	}
	if got := readNode([]byte("nothing ran")); got != (tally{}) {
		t.Errorf("nothing: got %+v", got)
	}
}

func TestPatterns(t *testing.T) {
	const listing = "\t0x0024 00036 (/src/brimline/schema/physics/level.go:12)\tFMADDD\tF0, F1, F2, F3\n" +
		"\t0x0028 00040 (/src/brimline/schema/physics/level.go:13)\tFMULD\tF0, F1, F2\n"
	found := fused.FindAllStringSubmatch(listing, -1)
	if len(found) != 1 || !strings.HasSuffix(found[0][1], "level.go:12") || found[0][2] != "FMADDD" {
		t.Errorf("got %q, want the one fused instruction", found)
	}
	sum := strings.Repeat("0a", 32)
	worker := "const f=[[`/`,`" + sum + "`],[\"/assets/x.js\", \"" + sum + "\"]];"
	if got := listed.FindAllStringSubmatch(worker, -1); len(got) != 2 || got[0][1] != "/" || got[1][1] != "/assets/x.js" {
		t.Errorf("got %q, want both files of the list", got)
	}
	const bench = "BenchmarkDurable/push/one-2 \t 2490\t 469303 ns/op\t 2131 changes/s\nBenchmarkForecast-2  \t 951\t 1240000 ns/op\n"
	if got := benchLine.FindAllStringSubmatch(bench, -1); len(got) != 2 || got[0][1] != "Durable/push/one" || got[0][3] != "2131" || got[1][1] != "Forecast" || got[1][3] != "" {
		t.Errorf("got %q, want both benchmarks", got)
	}
}

func TestDifference(t *testing.T) {
	for _, c := range []struct{ name, want, got, says string }{
		{"equal", `{"a":[1,2.5,"x",null,true]}`, `{"a":[1,2.5,"x",null,true]}`, ""},
		{"within", `{"a":1000}`, `{"a":1000.0000001}`, ""},
		{"beyond", `{"a":1000}`, `{"a":1000.01}`, "output.a"},
		{"shorter", `{"a":[1,2]}`, `{"a":[1]}`, "output.a"},
		{"renamed", `{"a":1}`, `{"b":1}`, "output.a"},
		{"other type", `{"a":1}`, `{"a":"1"}`, "output.a"},
	} {
		if got := difference([]byte(c.want), []byte(c.got)); (got == "") != (c.says == "") || !strings.HasPrefix(got, c.says) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.says)
		}
	}
}
