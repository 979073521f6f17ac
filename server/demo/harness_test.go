package demo

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
)

// sources lists the files of the package that are built into the server.
func sources(t *testing.T) []string {
	t.Helper()
	all, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, name := range all {
		if !strings.HasSuffix(name, "_test.go") {
			list = append(list, name)
		}
	}
	if len(list) == 0 {
		t.Fatal("found no source file")
	}
	return list
}

func encoded(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func decoded[T any](t *testing.T, body []byte) T {
	t.Helper()
	var v T
	if err := json.Unmarshal(body, &v); err != nil {
		t.Fatal(err)
	}
	return v
}
