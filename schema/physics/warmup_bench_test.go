package physics

import (
	"testing"

	"brimline/schema/physics/gearbox"
)

// thirtyReadings is a check of half an hour with a reading a minute.
func thirtyReadings(warmer string) WarmupForecastInput {
	g := gearbox.Draw(7, gearbox.Base())
	g.EngineOn = true
	in := WarmupForecastInput{AmbientC: g.AmbientC, Window: Window{LowC: 30, HighC: 80}, CoolantWarmer: warmer, RemainingS: &Normal{Mean: 300, SD: 60}}
	for i := 0; i < 30; i++ {
		tempC, _ := g.Reading()
		in.Readings = append(in.Readings, WarmupReading{TS: g.TimeS, TempC: tempC})
		in.NowS = g.TimeS
		g.Step(60)
	}
	return in
}

func BenchmarkWarmupForecast(b *testing.B) {
	for _, warmer := range []string{"no", "unknown", "yes"} {
		b.Run(warmer, func(b *testing.B) {
			in := thirtyReadings(warmer)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := WarmupForecast(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
