package physics

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"brimline/schema/fault"
)

func cooledOnce(vehicle string, hours float64) CooledCheck {
	return CooledCheck{Vehicle: vehicle, TimeConstantS: Normal{Mean: 3600 * hours, SD: 360}}
}

func mustCoolLearn(t *testing.T, checks ...CooledCheck) CooldownPriorOutput {
	t.Helper()
	out, err := CooldownPrior(CooldownPriorInput{Vehicle: "v1", Checks: checks})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestCooldownPriorLearnsAndForgets(t *testing.T) {
	none := mustCoolLearn(t)
	median, logSD := logNormal(none.TimeConstantS)
	closeTo(t, "default median in h", median/3600, 2.5, 1e-9)
	closeTo(t, "default log sd", logSD, 0.4, 1e-9)
	if none.From != "default" {
		t.Errorf("from %q without checks", none.From)
	}
	two := mustCoolLearn(t, cooledOnce("v1", 4), cooledOnce("v1", 4.2))
	other := mustCoolLearn(t, cooledOnce("v2", 4), cooledOnce("v2", 4.2))
	if own, foreign := two.TimeConstantS, other.TimeConstantS; !(own.Mean > foreign.Mean && foreign.Mean > none.TimeConstantS.Mean && own.SD/own.Mean < foreign.SD/foreign.Mean && foreign.SD/foreign.Mean < none.TimeConstantS.SD/none.TimeConstantS.Mean) {
		t.Errorf("own %+v, another vehicle's %+v, nothing %+v", own, foreign, none.TimeConstantS)
	}
	changed := mustCoolLearn(t, cooledOnce("v1", 5), cooledOnce("v1", 5.2), cooledOnce("v1", 4.9), cooledOnce("v1", 2), cooledOnce("v1", 2.1))
	if median, _ := logNormal(changed.TimeConstantS); changed.OwnChecks != 2 || math.Abs(median/3600-2.05) > 0.3 {
		t.Errorf("two cool-downs after the change: %.2f h from %d checks", median/3600, changed.OwnChecks)
	}
	odd := mustCoolLearn(t, cooledOnce("v1", 3), cooledOnce("v1", 3.1), cooledOnce("v1", 0.6), cooledOnce("v1", 2.9), cooledOnce("v1", 3))
	if !slices.Equal(odd.Doubtful, []int{2}) || odd.OwnChecks != 4 {
		t.Errorf("an odd cool-down: doubtful %v, %d own", odd.Doubtful, odd.OwnChecks)
	}
	// What is learned is fit for the planner.
	in := mildNight()
	in.CoolTimeConstantS = &two.TimeConstantS
	slow, quick := mustPlan(t, in), mustPlan(t, mildNight())
	if slow.EarliestAt == nil || *slow.EarliestAt <= *quick.EarliestAt {
		t.Errorf("a slower gearbox is cold at %v, the default at %v", slow.EarliestAt, *quick.EarliestAt)
	}
}

func TestStepPriorLearnsAMechanicsPace(t *testing.T) {
	in := StepPriorInput{Mechanic: "m1", Plan: []string{"out", "watch", "out"}, Typical: []TypicalStep{{"out", Normal{60, 40}}}}
	learn := func() StepPriorOutput {
		t.Helper()
		out, err := StepPrior(in)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	before := learn()
	if len(before.Steps) != 2 || before.Steps[0].Act != "out" || before.Steps[0].From != "default" {
		t.Fatalf("steps %+v", before.Steps)
	}
	closeTo(t, "the plan's mean", before.RemainingS.Mean, 2*before.Steps[0].TookS.Mean+before.Steps[1].TookS.Mean, 1e-9)
	for _, tookS := range []float64{30, 33, 31, 400, 29} {
		in.Done = append(in.Done, DoneStep{"m1", "out", tookS})
	}
	after := learn().Steps[0]
	if after.TookS.Mean < 28 || after.TookS.Mean > 40 || after.TookS.SD > 0.45*after.TookS.Mean || after.OwnSteps != 4 || !slices.Equal(after.Doubtful, []int{3}) {
		t.Errorf("after five steps, one of them interrupted: %+v", after)
	}
	in.Mechanic = "m2"
	if other := learn().Steps[0]; !(other.TookS.Mean > after.TookS.Mean && other.TookS.Mean < before.Steps[0].TookS.Mean && other.From == "profile") {
		t.Errorf("a colleague is expected to take %+v", other)
	}
	in.Plan = nil
	if out := learn(); out.RemainingS != nil {
		t.Errorf("remaining_s = %+v without a plan", out.RemainingS)
	}
}

func TestLearningNamesWhatIsWrong(t *testing.T) {
	step := func(spoil func(*StepPriorInput)) error {
		in := StepPriorInput{Done: []DoneStep{{"m", "a", 10}, {"m", "a", 12}}, Typical: []TypicalStep{{"a", Normal{10, 2}}}}
		spoil(&in)
		_, err := StepPrior(in)
		return err
	}
	cool := func(c CooledCheck) error {
		_, err := CooldownPrior(CooldownPriorInput{Checks: []CooledCheck{c}})
		return err
	}
	warm := func(spoil func(*WarmedCheck)) error {
		c := warmed("v", 55, 1700)
		c.Warmer = &WarmerBelief{Probability: 0.5, OnsetS: Normal{300, 50}, Factor: Normal{1.8, 0.2}}
		spoil(&c)
		_, err := WarmupPrior(WarmupPriorInput{Checks: []WarmedCheck{c}})
		return err
	}
	for _, c := range []struct {
		err         error
		code, field string
	}{
		{step(func(in *StepPriorInput) { in.Done[1].TookS = math.NaN() }), "out_of_range", "done[1].took_s"},
		{step(func(in *StepPriorInput) { in.Done[1].TookS = 0 }), "out_of_range", "done[1].took_s"},
		{step(func(in *StepPriorInput) { in.Typical[0].TookS.Mean = -1 }), "out_of_range", "typical[0].took_s.mean"},
		{step(func(in *StepPriorInput) { in.Typical[0].TookS.SD = math.Inf(1) }), "out_of_range", "typical[0].took_s.sd"},
		{step(func(in *StepPriorInput) { in.Typical = append(in.Typical, in.Typical[0]) }), "twice", "typical[1].act"},
		{step(func(in *StepPriorInput) { in.Done = make([]DoneStep, mostStepsDone+1) }), "too_many", "done"},
		{step(func(in *StepPriorInput) {
			for i := range mostActs + 1 {
				in.Plan = append(in.Plan, string(rune('A'+i)))
			}
		}), "too_many", "done"},
		{cool(CooledCheck{TimeConstantS: Normal{1, 1}}), "out_of_range", "checks[0].time_constant_s.mean"},
		{cool(CooledCheck{TimeConstantS: Normal{9000, math.NaN()}}), "out_of_range", "checks[0].time_constant_s.sd"},
		{warm(func(c *WarmedCheck) { c.Correlation = number64(1) }), "out_of_range", "checks[0].correlation"},
		{warm(func(c *WarmedCheck) { c.Warmer.Probability = 1.5 }), "out_of_range", "checks[0].warmer.probability"},
		{warm(func(c *WarmedCheck) { c.Warmer.OnsetS.Mean = -1 }), "out_of_range", "checks[0].warmer.onset_s.mean"},
		{warm(func(c *WarmedCheck) { c.Warmer.Factor.Mean = 0 }), "out_of_range", "checks[0].warmer.factor.mean"},
	} {
		if f := fault.As(c.err); f == nil || f.Code != c.code || f.Field != c.field {
			t.Errorf("got %v, want %s on %s", c.err, c.code, c.field)
		}
	}
}

// drawnPlane is any belief with a sound covariance.
func drawnPlane(t *rapid.T, name string) plane {
	p := plane{x: rapid.Float64Range(-5, 5).Draw(t, name+" x"), y: rapid.Float64Range(-5, 5).Draw(t, name+" y"),
		xx: rapid.Float64Range(0.01, 4).Draw(t, name+" xx"), yy: rapid.Float64Range(0.01, 4).Draw(t, name+" yy")}
	p.xy = rapid.Float64Range(-0.98, 0.98).Draw(t, name+" correlation") * math.Sqrt(p.xx*p.yy)
	return p
}

func TestJoinedBeliefsAgreeWithGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q := drawnPlane(t, "p"), drawnPlane(t, "q")
		invert := func(p plane) (inverse, weighted mat.Dense) {
			if err := inverse.Inverse(mat.NewDense(2, 2, []float64{p.xx, p.xy, p.xy, p.yy})); err != nil {
				t.Fatal(err)
			}
			weighted.Mul(&inverse, mat.NewDense(2, 1, []float64{p.x, p.y}))
			return inverse, weighted
		}
		pInverse, pWeighted := invert(p)
		qInverse, qWeighted := invert(q)
		var sum, covariance, weighted, mean mat.Dense
		sum.Add(&pInverse, &qInverse)
		if err := covariance.Inverse(&sum); err != nil {
			t.Fatal(err)
		}
		weighted.Add(&pWeighted, &qWeighted)
		mean.Mul(&covariance, &weighted)
		got := p.and(q)
		for _, v := range []struct{ got, want float64 }{
			{got.x, mean.At(0, 0)}, {got.y, mean.At(1, 0)}, {got.xx, covariance.At(0, 0)}, {got.yy, covariance.At(1, 1)}, {got.xy, covariance.At(0, 1)},
		} {
			if math.Abs(v.got-v.want) > 1e-7 {
				t.Fatalf("%+v and %+v: got %+v, gonum %v, %v", p, q, got, mean, covariance)
			}
		}
		// What was joined can be taken out again, where the second told something.
		back := got.without(p)
		if q.xx < 2*p.xx && q.yy < 2*p.yy && math.Abs(q.xy) < 0.5*math.Sqrt(q.xx*q.yy) && math.Abs(p.xy) < 0.5*math.Sqrt(p.xx*p.yy) {
			if math.Abs(back.x-q.x) > 1e-6 || math.Abs(back.y-q.y) > 1e-6 || math.Abs(back.xx-q.xx) > 1e-6 || math.Abs(back.yy-q.yy) > 1e-6 || math.Abs(back.xy-q.xy) > 1e-6 {
				t.Fatalf("%+v joined with %+v and taken out again gives %+v", q, p, back)
			}
		}
	})
}
