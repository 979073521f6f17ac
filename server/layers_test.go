package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "brimline"

// layer says what a package may import. Paths are separated by spaces; one that
// ends in /… stands for all below it.
type layer struct {
	ours  string // packages of this module
	third string // other people's packages
	tests string // what its tests may import beside that and the standard library
	// phone marks what the phone downloads. Such a package may import of the
	// standard library only what std names; the others may import all of it.
	phone bool
	std   string
}

const (
	rapid     = "pgregory.net/rapid"
	openAPI   = " github.com/getkin/kin-openapi/…"
	simulated = " schema/physics/gearbox schema/procedure/mechanic"
)

// layers is the architecture: every package of ours, and nothing else, is in it.
var layers = map[string]layer{
	"schema/fault":   {phone: true, std: "errors"},
	"schema/wire":    {phone: true, ours: "schema/fault", std: "math reflect sort strconv strings sync unicode/utf16 unicode/utf8", tests: rapid},
	"schema":         {phone: true, ours: "schema/fault schema/wire", std: "math strconv strings"},
	"schema/physics": {phone: true, ours: "schema schema/fault schema/wire", std: "bytes errors math sort strconv", tests: rapid + " gonum.org/v1/gonum/… schema/physics/gearbox"},
	"schema/procedure": {
		phone: true, ours: "schema schema/fault schema/physics schema/wire", std: "math strconv strings",
		tests: rapid + " schema/procedure/mechanic schema/physics/gearbox sync/merge",
	},
	"schema/dripcam": {phone: true, ours: "schema/fault", std: "math slices", tests: "schema/dripcam/clip"},
	"sync/merge":     {phone: true, ours: "schema/wire", std: "cmp errors math math/bits slices strconv unicode/utf16 unicode/utf8", tests: rapid},
	"sync/phone":     {phone: true, ours: "schema schema/fault sync/merge", std: "cmp slices", tests: rapid + " schema/wire"},
	"pwa/wasm": {
		phone: true, ours: "schema schema/dripcam schema/fault schema/physics schema/procedure schema/wire sync/merge sync/phone", std: "math reflect syscall/js",
	},

	// A simulated gearbox and a simulated mechanic: the world that tests and
	// demo data are made with. Nobody else sees them.
	"schema/physics/gearbox":     {},
	"schema/physics/calibration": {ours: "schema/physics schema/physics/gearbox"},
	"schema/dripcam/clip":        {},
	"schema/dripcam/clip/film":   {ours: "schema/dripcam/clip"},
	"schema/procedure/mechanic":  {ours: "schema schema/physics schema/physics/gearbox schema/procedure schema/wire sync/merge"},

	"pwa":      {},
	"testdata": {}, // golden vectors, embedded for the help
	"api":      {ours: "schema schema/fault", tests: openAPI},
	"server/store": {
		ours:  "schema schema/fault schema/procedure schema/wire sync/merge",
		third: "modernc.org/sqlite github.com/pressly/goose/v3 github.com/google/uuid",
		tests: rapid + simulated,
	},
	"server/auth": {
		ours:  "schema schema/fault server/store",
		third: "github.com/golang-jwt/jwt/v5 golang.org/x/crypto/argon2 github.com/google/uuid",
		tests: rapid,
	},
	"server/web": {
		ours:  "api schema schema/fault schema/physics schema/procedure schema/wire sync/merge server/store server/auth",
		third: "github.com/labstack/echo/v4/… github.com/go-playground/validator/v10 github.com/google/uuid",
		tests: rapid + simulated + openAPI,
	},
	"server/demo": {
		ours:  "schema schema/fault schema/physics schema/procedure sync/merge server/store server/auth" + simulated,
		tests: "server/web",
	},
	"server/dev": {ours: "schema schema/fault schema/physics schema/physics/calibration schema/procedure schema/wire sync/merge server/store" + simulated},
	"server": {
		ours:  "api pwa schema schema/fault schema/physics schema/procedure sync/merge server/auth server/demo server/store server/web testdata",
		third: "github.com/google/uuid",
		tests: simulated,
	},
}

// allows says whether one of the paths in list covers imported.
func allows(list, imported string) bool {
	return slices.ContainsFunc(strings.Fields(list), func(may string) bool {
		below, all := strings.CutSuffix(may, "/…")
		return imported == may || all && (imported == below || strings.HasPrefix(imported, below+"/"))
	})
}

// verdict says what is wrong with pkg importing imported, or "".
func verdict(pkg, imported string, inTest bool) string {
	rule := layers[pkg]
	own, ours := strings.CutPrefix(imported, module+"/")
	first, _, _ := strings.Cut(imported, "/")
	standard := !ours && !strings.Contains(first, ".")
	switch {
	case inTest && (standard || own == pkg || allows(rule.tests, own)):
		return ""
	case ours && allows(rule.ours, own), standard && (!rule.phone || allows(rule.std, imported)), !ours && !standard && allows(rule.third, imported):
		return ""
	case standard:
		return "runs on the phone and may not import " + imported
	}
	return "may not import " + own
}

// source is one file of ours and what it imports.
type source struct {
	pkg, file string
	test      bool
	imports   []string
}

// sources parses the imports of every Go file below root, whatever system it is
// for. It does not ask the go command, whose answer a cached test would not see.
func sources(t *testing.T, root string) []source {
	var found []source
	err := filepath.WalkDir(root, func(file string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := entry.Name()
		if entry.IsDir() {
			if file != root && (strings.HasPrefix(name, ".") || name == "node_modules" || name == "testdata" && filepath.Dir(file) != root || name == "dist") {
				return fs.SkipDir
			}
			return nil
		}
		if path.Ext(name) != ".go" {
			return nil
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(file))
		if err != nil {
			return err
		}
		s := source{pkg: filepath.ToSlash(dir), file: name, test: strings.HasSuffix(name, "_test.go")}
		for _, spec := range parsed.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			s.imports = append(s.imports, imported)
		}
		found = append(found, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestLayers(t *testing.T) {
	missing := maps.Clone(layers)
	for _, s := range sources(t, "..") {
		delete(missing, s.pkg)
		if _, known := layers[s.pkg]; !known {
			t.Errorf("%s/%s: the package is not in the table of server/layers_test.go; add it and say what it may import", s.pkg, s.file)
			continue
		}
		for _, imported := range s.imports {
			if wrong := verdict(s.pkg, imported, s.test); wrong != "" {
				t.Errorf("%s/%s: %s %s", s.pkg, s.file, s.pkg, wrong)
			}
		}
	}
	for pkg := range missing {
		t.Errorf("the table has %s, which does not exist", pkg)
	}
}

// The table itself: what the phone downloads imports only what it downloads, and
// names only packages that exist.
func TestLayersAgree(t *testing.T) {
	for pkg, rule := range layers {
		for _, own := range strings.Fields(rule.ours) {
			below, known := layers[own]
			if !known || rule.phone && !below.phone {
				t.Errorf("%s may import %s, which is not in the table or not on the phone", pkg, own)
			}
		}
	}
}

func TestVerdict(t *testing.T) {
	tests := []struct {
		pkg, imported string
		inTest, wrong bool
	}{
		{"sync/phone", "slices", false, false}, {"sync/phone", "fmt", false, true}, {"sync/phone", "fmt", true, false},
		{"sync/phone", "brimline/sync/merge", false, false}, {"sync/phone", "brimline/schema/physics", false, true}, {"sync/phone", "brimline/schema/physics", true, true},
		{"sync/phone", "brimline/sync/phone", true, false}, {"sync/merge", "pgregory.net/rapid", false, true}, {"sync/merge", "pgregory.net/rapid", true, false},
		{"server/web", "github.com/labstack/echo/v4/middleware", false, false}, {"server/store", "github.com/labstack/echo/v4", false, true},
		{"server/web", "github.com/labstack/echo/v44", false, true}, {"server/web", "net/http", false, false}, {"server/web", "brimline/server/demo", true, true},
		{"schema/physics", "brimline/schema/physics/gearbox", false, true}, {"schema/physics", "brimline/schema/physics/gearbox", true, false},
		{"server", "brimline/pwa/wasm", false, true}, {"server", "modernc.org/sqlite", false, true},
	}
	for _, tt := range tests {
		if got := verdict(tt.pkg, tt.imported, tt.inTest); (got != "") != tt.wrong {
			t.Errorf("%s importing %s, in a test %v: got %q, want wrong %v", tt.pkg, tt.imported, tt.inTest, got, tt.wrong)
		}
	}
}

// The top level is for people: a new folder there needs a reason.
func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir("..")
	if err != nil {
		t.Fatal(err)
	}
	allowed := strings.Fields("server pwa api schema sync testdata README.md DEVELOPERS.md LICENSE go.mod go.sum Dockerfile")
	for _, entry := range entries {
		if name := entry.Name(); !strings.HasPrefix(name, ".") && !slices.Contains(allowed, name) {
			t.Errorf("%s is at the top level; only %v and dot files are", name, allowed)
		}
	}
}

// modernc.org/sqlite is generated code that works with one version of
// modernc.org/libc only, the one its own go.mod names.
func TestLibcIsTheOneSQLiteWasMadeWith(t *testing.T) {
	ours, err := os.ReadFile("../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	// Asking where the cache is reads no source file, so a cached answer stays true.
	cache, err := exec.Command("go", "env", "GOMODCACHE").Output()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(strings.TrimSpace(string(cache)), "cache", "download", "modernc.org", "sqlite", "@v", version(t, ours, "modernc.org/sqlite")+".mod")
	theirs, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("run go mod download first: %v", err)
	}
	if got, want := version(t, ours, "modernc.org/libc"), version(t, theirs, "modernc.org/libc"); got != want {
		t.Errorf("go.mod has modernc.org/libc %s, want %s as modernc.org/sqlite has", got, want)
	}
}

// version returns the version of a module that the text of a go.mod requires.
func version(t *testing.T, mod []byte, name string) string {
	t.Helper()
	found := regexp.MustCompile(`(?m)^(?:require)?\s+` + regexp.QuoteMeta(name) + ` (v\S+)`).FindSubmatch(mod)
	if found == nil {
		t.Fatalf("go.mod does not require %s", name)
	}
	return string(found[1])
}
