package gearbox

import (
	"math"
	"testing"
)

// still returns a gearbox on its reference temperature, level, engine running, at
// the lip and in air that keeps it there.
func still() Gearbox {
	g := Draw(3, Base())
	g.AmbientC, g.RiseC = g.ReferenceC, 0
	g.FluidC, g.SensorC, g.ShellC = g.ReferenceC, g.ReferenceC, g.ReferenceC
	g.EngineOn, g.ExtraML = true, 0
	return g
}

func TestDrawRepeats(t *testing.T) {
	a, b := Draw(11, Base()), Draw(11, Base())
	a.EngineOn, b.EngineOn = true, true
	for range 50 {
		a.Step(60)
		b.Step(20)
		b.Step(40)
		ra, sa := a.Reading()
		rb, sb := b.Reading()
		if ra != rb || sa != sb || math.Abs(a.FluidC-b.FluidC) > 1e-9 {
			t.Fatalf("at %g s: %g and %g, %g and %g", a.TimeS, ra, rb, a.FluidC, b.FluidC)
		}
	}
	if c := Draw(12, Base()); c.RiseC == a.RiseC {
		t.Error("another seed gave the same gearbox")
	}
}

func TestBasePopulation(t *testing.T) {
	const n = 4000
	var rise, riseSquare, logTime, logSquare float64
	slips, readings := 0, 0
	for seed := range uint64(n) {
		g := Draw(seed, Base())
		if g.AmbientC < 8 || g.AmbientC > 26 || g.FluidC != g.AmbientC {
			t.Fatalf("seed %d: air %g, fluid %g", seed, g.AmbientC, g.FluidC)
		}
		rise += g.RiseC / n
		riseSquare += g.RiseC * g.RiseC / n
		l := math.Log(g.TimeConstantS / (28 * 60))
		logTime += l / n
		logSquare += l * l / n
		for range 5 {
			readings++
			if _, slip := g.Reading(); slip {
				slips++
			}
		}
	}
	if sd := math.Sqrt(riseSquare - rise*rise); math.Abs(rise-55) > 1 || math.Abs(sd-15) > 1 {
		t.Errorf("rise %.2f ± %.2f, want 55 ± 15", rise, sd)
	}
	if sd := math.Sqrt(logSquare); math.Abs(logTime) > 0.03 || math.Abs(sd-0.35) > 0.02 {
		t.Errorf("log time constant %.3f ± %.3f, want 0 ± 0.35", logTime, sd)
	}
	if share := float64(slips) / float64(readings); math.Abs(share-0.04) > 0.006 {
		t.Errorf("share of slips %.3f, want 0.04", share)
	}
}

func TestHeatFollowsTheExponential(t *testing.T) {
	g := Draw(5, Base())
	g.EngineOn = true
	startC := g.FluidC
	g.Step(900)
	want := g.AmbientC + g.RiseC + (startC-g.AmbientC-g.RiseC)*math.Exp(-900/g.TimeConstantS)
	if math.Abs(g.FluidC-want) > 1e-5 {
		t.Errorf("after 15 min %.7f, closed form %.7f", g.FluidC, want)
	}
	crossC := want + 3
	timeS, ok := g.RunTo(crossC, 7200)
	truthS := 900 + g.TimeConstantS*math.Log((g.AmbientC+g.RiseC-want)/(g.AmbientC+g.RiseC-crossC))
	if !ok || math.Abs(timeS-truthS) > 0.01 {
		t.Errorf("3 °C later at %.3f s, closed form %.3f", timeS, truthS)
	}
	g.EngineOn = false
	g.Step(20 * 3600)
	if math.Abs(g.FluidC-g.AmbientC) > 0.01 {
		t.Errorf("engine off: %.3f, air %.3f", g.FluidC, g.AmbientC)
	}
}

func TestWarmerAndLag(t *testing.T) {
	g := Draw(5, Warmer())
	g.EngineOn = true
	g.Step(299)
	before := g.FluidC
	g.Step(1)
	slow := g.FluidC - before
	before = g.FluidC
	g.Step(1)
	if ratio := (g.FluidC - before) / slow; math.Abs(ratio-1.8) > 0.01 {
		t.Errorf("the warmer makes it %.3f times faster, want 1.8", ratio)
	}
	g.SensorLagS = 30
	g.SensorC = g.FluidC
	g.Step(300)
	rate := (g.AmbientC + g.RiseC - g.FluidC) * 1.8 / g.TimeConstantS
	if trail := g.FluidC - g.SensorC; math.Abs(trail-30*rate) > 0.15*30*rate {
		t.Errorf("the sensor trails by %.2f °C, want about %.2f", trail, 30*rate)
	}
}

func TestFlowStopsAtTheLip(t *testing.T) {
	g := still()
	g.PlugOpen, g.ExtraML = true, 150
	first := g.FlowMLS()
	g.Step(120)
	later := g.FlowMLS()
	if !(first > 0.3 && later < first/3 && later > 0) {
		t.Errorf("flow %.3f mL/s, two minutes later %.3f: it should thin out", first, later)
	}
	g.Step(3600)
	if level := g.LevelML(); level < 0 || level > 8 {
		t.Errorf("after an hour %.2f mL stand above the lip", level)
	}
	if balance := g.RunML + g.ExtraML; math.Abs(balance-150) > 1e-6 {
		t.Errorf("%.6f mL run out and %.6f left of 150", g.RunML, g.ExtraML)
	}
	if size := g.RunML * 1000 / float64(g.Drops); math.Abs(size/g.DropUL-1) > 0.1 {
		t.Errorf("%.1f µL a drop, want %.1f", size, g.DropUL)
	}
	g.PlugOpen = false
	ran := g.RunML
	g.AddFluid(200, g.ReferenceC)
	g.Step(60)
	if g.RunML != ran {
		t.Error("a closed plug let fluid out")
	}
}

func TestDripBalancesTheExpansion(t *testing.T) {
	g := still()
	g.PlugOpen, g.ExtraML = true, 30
	g.RiseC, g.TimeConstantS = 60, 2400
	g.Step(600)
	ran, fromC := g.RunML, g.FluidC
	g.Step(60)
	expansion := g.ActiveML * g.ExpansionPerC * (g.FluidC - fromC)
	if flow := g.RunML - ran; math.Abs(flow/expansion-1) > 0.15 {
		t.Errorf("%.2f mL/min run out, warming explains %.2f", flow, expansion)
	}
}

func TestTiltAndEngine(t *testing.T) {
	g := still()
	g.PlugAheadMM, g.PlugRightMM, g.FreeSurfaceCM2, g.PitchDeg = 250, 0, 500, 1
	// 250 mm at 1.0° lift the plug by 4.3638 mm (references, section 10); 500 cm² hold 218.19 mL in that.
	if math.Abs(g.TiltML()-218.19) > 0.01 || math.Abs(g.LevelML()+218.19) > 0.01 {
		t.Errorf("tilt %.3f mL, level %.3f", g.TiltML(), g.LevelML())
	}
	running := g.LevelML()
	g.EngineOn = false
	if math.Abs(g.LevelML()-running-g.PumpedML) > 1e-9 {
		t.Errorf("engine off adds %.1f mL, want %.1f", g.LevelML()-running, g.PumpedML)
	}
}

func TestAddFluidMixes(t *testing.T) {
	g := still()
	g.AddFluid(1000, 10)
	poured := 1000 / (1 + g.ExpansionPerC*(10-g.ReferenceC))
	want := (g.ActiveML*40 + poured*10) / (g.ActiveML + poured)
	if math.Abs(g.FluidC-want) > 1e-9 || math.Abs(g.ExtraML-poured) > 1e-9 {
		t.Errorf("mixed to %.4f °C and %.2f mL, want %.4f and %.2f", g.FluidC, g.ExtraML, want, poured)
	}
}
