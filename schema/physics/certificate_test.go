package physics

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"testing"
)

// leastPublished is how many published values the tests of this package must hold it to.
const leastPublished = 150

// TestPublishedValuesAreMany counts the values in this package's tests that stand
// as a published{…} with a source: a literal in a loop over a literal table counts
// once per row.
func TestPublishedValuesAreMany(t *testing.T) {
	files, err := filepath.Glob("*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	count, perFile := 0, map[string]int{}
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, declaration := range file.Decls {
			if f, ok := declaration.(*ast.FuncDecl); ok && f.Body != nil {
				n := countPublished(t, f)
				count, perFile[name] = count+n, perFile[name]+n
			}
		}
	}
	for _, name := range files {
		if perFile[name] > 0 {
			t.Logf("%4d %s", perFile[name], name)
		}
	}
	t.Logf("%4d published values", count)
	if count < leastPublished {
		t.Errorf("%d published values are tested, want at least %d", count, leastPublished)
	}
}

// countPublished walks one function; rows multiplies inside loops over tables.
func countPublished(t *testing.T, f *ast.FuncDecl) int {
	tables := map[string]int{} // rows of the literal each local name holds
	count := 0
	var walk func(node ast.Node, rows int)
	walk = func(node ast.Node, rows int) {
		ast.Inspect(node, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.AssignStmt:
				for i, left := range n.Lhs {
					if name, ok := left.(*ast.Ident); ok && i < len(n.Rhs) {
						if table, ok := n.Rhs[i].(*ast.CompositeLit); ok {
							tables[name.Name] = len(table.Elts)
						}
					}
				}
			case *ast.RangeStmt:
				times := 1
				switch over := n.X.(type) {
				case *ast.CompositeLit:
					times = len(over.Elts)
				case *ast.Ident:
					times = max(1, tables[over.Name])
				}
				walk(n.Body, rows*times)
				return false
			case *ast.CompositeLit:
				list, ok := n.Type.(*ast.ArrayType)
				if !ok {
					return true
				}
				if element, ok := list.Elt.(*ast.Ident); ok && element.Name == "published" {
					count += rows * len(n.Elts)
					for _, e := range n.Elts {
						if v, ok := e.(*ast.CompositeLit); !ok || len(v.Elts) != 5 {
							t.Errorf("%s has a published value without all five parts", f.Name.Name)
						}
					}
				}
			}
			return true
		})
	}
	walk(f.Body, 1)
	return count
}

func TestDensityBasesDiffer(t *testing.T) {
	out, err := FluidVolume(FluidVolumeInput{DensityKgM3: 850, VolumeML: 1000, FromC: CelsiusFromFahrenheit(60), ToC: 15})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, []published{{"850 kg/m³ at 15 °C, at 60 °F", 850 * out.VCFFrom, 849.6512, 5e-4, "computed from ASTM D1250-80; the two bases must not be mixed"}})
}

// The same closed forms as in the tests of cooling and planning, as published values.
func TestLumpedCapacitancePublished(t *testing.T) {
	cool := func(airC, startC, timeS, untilC float64) float64 {
		return mustCool(t, CooldownInput{Ambient: AirWave{MeanC: airC}, StartC: &startC, TimeConstantS: &Normal{Mean: timeS}, UntilC: &untilC}).ReachesS.P50
	}
	window := func(low, high float64) float64 {
		in := mildNight()
		in.Days = []DayForecast{{"2030-05-04", 20, 20}, {"2030-05-05", 20, 20}}
		in.StartBelowC, in.Window = 40, Window{LowC: low, HighC: high}
		in.CoolTimeConstantS = &Normal{Mean: 1800}
		in.Prior = &WarmupBelief{RiseC: Normal{Mean: 60}, TimeConstantS: Normal{Mean: 1800}}
		in.NeededS = Normal{Mean: 60}
		return mustPlan(t, in).Slots[0].WindowLengthS.P50
	}
	closed := "computed from the closed form"
	agree(t, []published{
		{"90 to 45 °C in 20 °C, τ 75 min, in min", cool(20, 90, 4500, 45) / 60, 77.2215, 5.1e-5, closed},
		{"20 to 40 °C towards 80 °C, τ 30 min, in min", window(20.0001, 40) / 60, 12.1640, 1e-3, closed},
		{"30 to 50 °C towards 80 °C, τ 30 min, in min", window(30, 50) / 60, 15.3248, 5.1e-5, closed},
	})
	wave := mustCool(t, CooldownInput{Ambient: AirWave{MeanC: 25, AmplitudeC: 8, PhaseRad: -1.5707963267948966}, StartC: number64(90),
		TimeConstantS: &Normal{Mean: 7200}, AtS: []float64{3600, 7200, 14_400, 21_600, 43_200, 86_400}})
	solver := "computed, agrees with an ODE solver to 1e-8"
	agree(t, []published{
		{"1 h", wave.Temps[0].TempC, 61.317102, 6e-7, solver}, {"2 h", wave.Temps[1].TempC, 44.140719, 6e-7, solver},
		{"4 h", wave.Temps[2].TempC, 28.660124, 6e-7, solver}, {"6 h", wave.Temps[3].TempC, 25.261253, 6e-7, solver},
		{"12 h", wave.Temps[4].TempC, 31.455350, 6e-7, solver}, {"24 h", wave.Temps[5].TempC, 18.721770, 6e-7, solver},
		{"gain", wave.Gain, 0.88590826, 6e-9, solver}, {"lag in h", wave.LagS / 3600, 1.84243329, 6e-9, solver},
	})
}

func TestDailyRangePublished(t *testing.T) {
	a := newAirDays([]DayForecast{{MinC: 22, MaxC: 33}}, 0)
	source := "ASHRAE Fundamentals 2021, chapter 14, table 6, as cited in a public code file"
	for _, r := range []struct{ hour, share float64 }{
		{1, 0.88}, {2, 0.92}, {3, 0.95}, {4, 0.98}, {5, 1.00}, {6, 0.98}, {7, 0.91}, {8, 0.74}, {9, 0.55}, {10, 0.38}, {11, 0.23}, {12, 0.13},
		{13, 0.05}, {14, 0.00}, {15, 0.00}, {16, 0.06}, {17, 0.14}, {18, 0.24}, {19, 0.39}, {20, 0.50}, {21, 0.59}, {22, 0.68}, {23, 0.75}, {24, 0.82},
	} {
		agree(t, []published{{"share of the day's range", (33 - a.at(3600*r.hour)) / 11, r.share, 1e-12, source}})
	}
}

func TestRegressionCertified(t *testing.T) {
	misraX := []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0}
	misraY := []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78}
	boxX, boxY := []float64{1, 2, 3, 5, 7, 10}, []float64{109, 149, 149, 191, 213, 224}
	for _, r := range []struct {
		name  string
		x, y  []float64
		start []float64
		want  [6]float64 // b1, b2, their sd, residual sd, rss
	}{
		{"Misra1a, start 1", misraX, misraY, []float64{500, 0.0001}, [6]float64{2.3894212918e2, 5.5015643181e-4, 2.7070075241, 7.2668688436e-6, 1.0187876330e-1, 1.2455138894e-1}},
		{"Misra1a, start 2", misraX, misraY, []float64{250, 0.0005}, [6]float64{2.3894212918e2, 5.5015643181e-4, 2.7070075241, 7.2668688436e-6, 1.0187876330e-1, 1.2455138894e-1}},
		{"BoxBOD, start 1", boxX, boxY, []float64{1, 1}, [6]float64{2.1380940889e2, 5.4723748542e-1, 1.2354515176e1, 1.0455993237e-1, 1.7088072423e1, 1.1680088766e3}},
		{"BoxBOD, start 2", boxX, boxY, []float64{100, 0.75}, [6]float64{2.1380940889e2, 5.4723748542e-1, 1.2354515176e1, 1.0455993237e-1, 1.7088072423e1, 1.1680088766e3}},
	} {
		out, err := ExponentialFit(ExponentialFitInput{X: r.x, Y: r.y, Start: r.start})
		if err != nil {
			t.Fatal(err)
		}
		source := "NIST StRD nonlinear regression, certified, " + r.name
		agree(t, []published{
			{"b1", out.B[0], r.want[0], 1e-9 * r.want[0], source}, {"b2", out.B[1], r.want[1], 1e-9 * r.want[1], source},
			{"sd of b1", out.SD[0], r.want[2], 1e-8 * r.want[2], source}, {"sd of b2", out.SD[1], r.want[3], 1e-8 * r.want[3], source},
			{"residual sd", out.ResidualSD, r.want[4], 1e-9 * r.want[4], source}, {"rss", out.RSS, r.want[5], 1e-9 * r.want[5], source},
		})
	}
}
