package physics

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strings"
	"testing"
)

func TestEveryExportedFunctionStatesItsContract(t *testing.T) {
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	functions := 0
	for _, entry := range entries {
		name := entry.Name()
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		for _, declaration := range file.Decls {
			f, ok := declaration.(*ast.FuncDecl)
			if !ok || !f.Name.IsExported() {
				continue
			}
			functions++
			for _, part := range []string{"Shapes:", "Units:", "Errors:", "Accuracy:", "Source:"} {
				if !strings.Contains(f.Doc.Text(), part) {
					t.Errorf("%s: the comment of %s does not state %s", name, f.Name.Name, part)
				}
			}
		}
	}
	if functions < 20 {
		t.Errorf("only %d exported functions were found", functions)
	}
}
