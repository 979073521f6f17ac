package procedure_test

import (
	"testing"

	"brimline/schema"
	"brimline/schema/physics"
	"brimline/schema/procedure"
)

// What one check teaches, the next one of the same gearbox expects: its first
// forecasts are surer, and the prior stands in the log.
func TestTheNextCheckLearnsFromThisOne(t *testing.T) {
	s := setup(t, "profile-8l.json")
	first := careful(t, s, 7)
	events, _, _, err := first.Work()
	if err != nil {
		t.Fatal(err)
	}
	summary, err := procedure.Summarize(s.Profile, s.Vehicle, s.Unit, s.Cautions, events)
	if err != nil {
		t.Fatal(err)
	}
	if summary.Warming == nil {
		t.Fatal("a whole check teaches nothing about its gearbox")
	}
	expect, err := physics.WarmupPrior(physics.WarmupPriorInput{Vehicle: vehicleID, Checks: []physics.WarmedCheck{
		{Vehicle: vehicleID, RiseC: physics.Normal(summary.Warming.RiseC), TimeConstantS: physics.Normal(summary.Warming.TimeConstantS)}}})
	if err != nil {
		t.Fatal(err)
	}
	spread := func(prior *schema.Warming) float64 {
		m := careful(t, s, 7)
		m.Start.Prior = prior
		log, _, _, err := m.Work()
		if err != nil {
			t.Fatal(err)
		}
		for k, e := range log {
			c, err := procedure.Replay(s, log[:k+1])
			if err != nil {
				t.Fatal(err)
			}
			v := c.View(procedure.Stamp{WallMS: e.WallMS, MonoMS: e.MonoMS, Boot: e.Boot})
			if v.Forecast != nil && v.State.EngineOnS > 30 && v.Forecast.ReachesHighS != nil {
				return v.Forecast.ReachesHighS.P90 - v.Forecast.ReachesHighS.P10
			}
		}
		t.Fatal("no forecast was made")
		return 0
	}
	alone := spread(nil)
	taught := spread(&schema.Warming{RiseC: schema.Spread(expect.RiseC), TimeConstantS: schema.Spread(expect.TimeConstantS)})
	if taught > 0.95*alone {
		t.Errorf("at the first reading, the time of the upper limit is spread over %.0f s with what was learned and %.0f s without; want less", taught, alone)
	}
	l := newLog(t, "profile-8l.json")
	l.refused("check.started", `{"vehicle_id":"`+vehicleID+`","unit_id":"`+unitID+`","profile_id":"`+string(s.Profile.ID)+`","profile_edition":2,"person_id":"`+personID+
		`","device_id":"`+deviceID+`","reason":"level_check","cooler_circuit":"untouched","cycle":1,"utc_offset_min":120,"warmer":"unknown","raised":true,"indoors":false,
		"prior":{"rise_c":{"mean":55,"sd":-1},"time_constant_s":{"mean":1700,"sd":300}}}`, "number.range")
}
