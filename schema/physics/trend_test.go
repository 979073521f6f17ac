package physics

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// norris is the data of NIST StRD Norris, x and y.
func norris() (x, y []float64) {
	x = []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
		556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	y = []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
		557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	return x, y
}

// ones is a column of ones.
func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}

func TestRegressionIsCertifiedByNorris(t *testing.T) {
	x, y := norris()
	fit, ok := fitLinear([][]float64{ones(len(x)), x}, y, ones(len(x)))
	if !ok {
		t.Fatal("the fit failed")
	}
	residual := math.Sqrt(fit.chiSquare / float64(fit.degrees))
	source := "NIST StRD Norris, certified values (data and values from memory; their agreement to ten digits confirms them)"
	agree(t, []published{
		{"B0", fit.b[0], -0.262323073774029, 1e-11, source},
		{"B1", fit.b[1], 1.00211681802045, 1e-13, source},
		{"sd of B0", residual * math.Sqrt(fit.covariance[0][0]), 0.232818234301152, 1e-11, source},
		{"sd of B1", residual * math.Sqrt(fit.covariance[1][1]), 0.429796848199937e-3, 1e-14, source},
		{"residual sd", residual, 0.884796396144373, 1e-11, source},
	})
}

func TestRegressionAgreesWithGonum(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 50 {
		rows := 4 + random.IntN(20)
		columns := [][]float64{make([]float64, rows), make([]float64, rows), make([]float64, rows)}
		y, sds := make([]float64, rows), make([]float64, rows)
		design, right := mat.NewDense(rows, 3, nil), mat.NewVecDense(rows, nil)
		for i := range rows {
			sds[i] = 0.5 + random.Float64()
			y[i] = random.NormFloat64()
			right.SetVec(i, y[i]/sds[i])
			for j := range columns {
				columns[j][i] = random.NormFloat64()
				design.Set(i, j, columns[j][i]/sds[i])
			}
		}
		fit, ok := fitLinear(columns, y, sds)
		var want mat.VecDense
		if err := want.SolveVec(design, right); err != nil || !ok {
			t.Fatal(err, ok)
		}
		for j := range columns {
			if math.Abs(fit.b[j]-want.AtVec(j)) > 1e-9 {
				t.Errorf("coefficient %d: %g, gonum %g", j, fit.b[j], want.AtVec(j))
			}
		}
	}
}

func TestRegressionRefusesWhatIsNotDetermined(t *testing.T) {
	if _, ok := fitLinear([][]float64{{1, 2, 3}, {2, 4, 6}}, []float64{1, 2, 3}, ones(3)); ok {
		t.Error("two proportional columns were fitted")
	}
	if _, ok := fitLinear([][]float64{{0, 0}}, []float64{1, 2}, ones(2)); ok {
		t.Error("an empty column was fitted")
	}
	if _, ok := fitLinear([][]float64{{1}, {2}}, []float64{1}, ones(1)); ok {
		t.Error("two unknowns were found from one row")
	}
}

// history is a vehicle that loses so much a month, checked every three
// months and 3000 km, topped up to nothing each time.
func history(random *rand.Rand, checks int, lossPerMonth, sdML float64) LevelTrendInput {
	start := time.Date(2025, 1, 15, 9, 0, 0, 0, time.UTC)
	in := LevelTrendInput{MinimumML: -200}
	for i := range checks {
		month := float64(3 * i)
		moment := start.Add(time.Duration(month*secondsAMonth) * time.Second)
		found := sdML * random.NormFloat64()
		if i > 0 {
			found -= 3 * lossPerMonth
		}
		in.Checks = append(in.Checks, TrendCheck{
			At: moment.Format(time.RFC3339), OdometerKM: some(50000 + 1000*month), AsFoundML: some(found),
			AsLeftML: some(sdML * random.NormFloat64()), SDML: sdML, Site: "yard", Person: "one", Unit: "reader 1",
		})
	}
	return in
}

// trend runs a history that must be accepted.
func trend(t testing.TB, in LevelTrendInput) LevelTrendOutput {
	t.Helper()
	out, err := LevelTrend(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestTrendFindsALoss(t *testing.T) {
	out := trend(t, history(rand.New(rand.NewPCG(1, 1)), 8, 40, 5))
	if !out.Significant || math.Abs(out.LossPerMonth.Mean-40) > 3 || math.Abs(out.LossPer1000KM.Mean-40) > 3 {
		t.Errorf("40 mL a month and per 1000 km come out as %+v and %+v", *out.LossPerMonth, *out.LossPer1000KM)
	}
	if len(out.Suspects) != 0 {
		t.Errorf("one yard, one person and one reader are suspected: %+v", out.Suspects)
	}
	// 200 mL below nothing at 40 mL a month: a little less than five months
	// after the last check of October 2026.
	if out.NextDue == nil || *out.NextDue.At < "2027-01-15" || *out.NextDue.At > "2027-03-20" {
		t.Errorf("due %+v", out.NextDue)
	}
	if km := *out.NextDue.OdometerKM; km < 74000 || km > 76300 {
		t.Errorf("due at %g km", km)
	}
}

func TestTrendLimitsHoldTheTruth(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const runs = 500
	inside, alarms := 0, 0
	for range runs {
		lossy := trend(t, history(random, 6, 15, 40))
		if lossy.LossPerMonth.Low <= 15 && 15 <= lossy.LossPerMonth.High {
			inside++
		}
		if trend(t, history(random, 6, 0, 40)).Significant {
			alarms++
		}
	}
	if inside < runs*93/100 {
		t.Errorf("the 95 %% limits hold the truth in %d of %d", inside, runs)
	}
	if alarms > runs*5/100 {
		t.Errorf("%d of %d gearboxes that lose nothing are called losing", alarms, runs)
	}
}

func TestTwoSmallTopUpsAreNotATrend(t *testing.T) {
	in := history(rand.New(rand.NewPCG(1, 1)), 3, 0, 50)
	for i := range in.Checks {
		*in.Checks[i].AsFoundML, *in.Checks[i].AsLeftML = -40, 0
	}
	if out := trend(t, in); out.Significant {
		t.Errorf("two top-ups of 40 mL, each known to 50 mL: %+v", *out.LossPerMonth)
	}
}

func TestASiteThatReadsHighIsSuspected(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	in := history(random, 9, 10, 15)
	for i := range in.Checks {
		if i%2 == 1 { // every other check on a sloping drive that reads 150 mL full
			in.Checks[i].Site = "drive"
			*in.Checks[i].AsFoundML += 150
			*in.Checks[i].AsLeftML += 150
		}
	}
	out := trend(t, in)
	found := false
	for _, s := range out.Suspects {
		if s.Kind == "site" && s.Name == "drive" {
			found = math.Abs(s.ShiftML-150) < 3*s.SDML && len(s.Checks) == 4 && s.Checks[0] == 1
		}
		if s.Kind != "site" {
			t.Errorf("suspected too: %+v", s)
		}
	}
	if !found {
		t.Errorf("the drive is not suspected: %+v", out.Suspects)
	}
}

func TestTrendWithoutEvidenceSaysNothing(t *testing.T) {
	for _, in := range []LevelTrendInput{
		{MinimumML: -200},
		{Checks: []TrendCheck{{At: "2026-03-01T10:00:00Z", SDML: 50}}, MinimumML: -200},
		{Checks: []TrendCheck{{At: "2026-03-01T10:00:00Z", AsLeftML: some(0.0), SDML: 50}, {At: "2026-06-01T10:00:00Z", AsLeftML: some(0.0), SDML: 50}}, MinimumML: -200},
	} {
		out := trend(t, in)
		if out.LossPerMonth != nil || out.LossPer1000KM != nil || out.Significant || out.NextDue != nil || out.Suspects == nil {
			t.Errorf("%+v says %+v", in, out)
		}
	}
}

func TestTrendRefusesBadInput(t *testing.T) {
	for _, c := range []struct {
		code, field string
		spoil       func(*LevelTrendInput)
	}{
		{"bad_time", "checks[1].at", func(in *LevelTrendInput) { in.Checks[1].At = "yesterday" }},
		{"order", "checks[2].at", func(in *LevelTrendInput) { in.Checks[2].At = in.Checks[1].At }},
		{"order", "checks[2].odometer_km", func(in *LevelTrendInput) { in.Checks[2].OdometerKM = some(1.0) }},
		{"out_of_range", "checks[0].odometer_km", func(in *LevelTrendInput) { in.Checks[0].OdometerKM = some(-1.0) }},
		{"out_of_range", "checks[1].sd_ml", func(in *LevelTrendInput) { in.Checks[1].SDML = 0 }},
		{"out_of_range", "checks[1].as_found_ml", func(in *LevelTrendInput) { in.Checks[1].AsFoundML = some(math.NaN()) }},
		{"out_of_range", "checks[1].as_left_ml", func(in *LevelTrendInput) { in.Checks[1].AsLeftML = some(math.Inf(1)) }},
		{"out_of_range", "minimum_ml", func(in *LevelTrendInput) { in.MinimumML = math.NaN() }},
		{"too_long", "checks[0]", func(in *LevelTrendInput) { in.Checks[0].Site = string(make([]byte, 201)) }},
		{"too_many", "checks", func(in *LevelTrendInput) { in.Checks = make([]TrendCheck, mostTrendChecks+1) }},
	} {
		in := history(rand.New(rand.NewPCG(1, 1)), 3, 10, 20)
		c.spoil(&in)
		_, err := LevelTrend(in)
		wantFault(t, err, c.code, c.field)
	}
}

func TestTrendIsFiniteForAnyValidHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := LevelTrendInput{MinimumML: rapid.Float64Range(-50000, 50000).Draw(t, "minimum")}
		seconds, km := int64(0), 0.0
		for range rapid.IntRange(0, 8).Draw(t, "checks") {
			seconds += rapid.Int64Range(1, 1e9).Draw(t, "later")
			km += rapid.Float64Range(0, 1e5).Draw(t, "km")
			check := TrendCheck{At: moment{unixS: seconds}.text(), SDML: rapid.Float64Range(0.1, 50000).Draw(t, "sd"),
				Site: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "site"), Person: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "person")}
			if rapid.Bool().Draw(t, "has km") {
				check.OdometerKM = some(km)
			}
			if rapid.Bool().Draw(t, "found") {
				check.AsFoundML = some(rapid.Float64Range(-50000, 50000).Draw(t, "as found"))
			}
			if rapid.Bool().Draw(t, "left") {
				check.AsLeftML = some(rapid.Float64Range(-50000, 50000).Draw(t, "as left"))
			}
			in.Checks = append(in.Checks, check)
		}
		out, err := LevelTrend(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range []*Interval{out.LossPerMonth, out.LossPer1000KM} {
			if i != nil && !(finite(i.Mean) && i.Low <= i.Mean && i.Mean <= i.High && finite(i.Low) && finite(i.High)) {
				t.Fatalf("%+v", *i)
			}
		}
		for _, s := range out.Suspects {
			if !finite(s.ShiftML) || !finite(s.SDML) {
				t.Fatalf("%+v", s)
			}
		}
	})
}
