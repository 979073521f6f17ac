package physics

import (
	"math"
	"sort"
)

// timeline is a check as steps that every filter takes in the same way.
type timeline struct {
	ambientC float64
	engine   []EngineChange
	steps    []timeStep // from 0 s to now
	filed    []filed
	nowS     float64
	ahead    []FluidAddition // after now
	activeML float64
	volumeSD float64 // relative doubt of a pour's effect
}

// filed is one reading or a group of readings as the filter sees it.
type filed struct {
	tS, tempC float64
	variance  float64
	members   []int // indexes in the input
	spare     []int // members that contradict their own group
}

// timeStep is a stretch of time with one engine state, and what happens at its end.
type timeStep struct {
	stretch
	pour    *FluidAddition
	reading int     // index in filed, or -1
	kickSDC float64 // doubt added to the temperature at the end
}

// stretch is time with one engine state. onFromS and onToS count the seconds the
// engine has run since the start of the check.
type stretch struct {
	dtS            float64
	on, driving    bool
	onFromS, onToS float64
}

// newTimeline orders engine changes, pours and readings up to now.
func newTimeline(in WarmupForecastInput, s signs) *timeline {
	p := &timeline{ambientC: in.AmbientC, engine: in.Engine, nowS: in.NowS, activeML: defaultActiveML, volumeSD: 0.4}
	if in.ActiveVolumeML != nil {
		p.activeML, p.volumeSD = *in.ActiveVolumeML, 0.3
	}
	if len(p.engine) == 0 {
		p.engine = []EngineChange{{TS: 0, State: "idle"}}
	}
	p.filed = fileReadings(in.Readings, s)
	type moment struct {
		tS      float64
		pour    *FluidAddition
		reading int
	}
	moments := make([]moment, 0, len(p.filed)+len(in.Additions)+1)
	for i := range in.Additions {
		if in.Additions[i].TS <= in.NowS {
			moments = append(moments, moment{tS: in.Additions[i].TS, pour: &in.Additions[i], reading: -1})
		} else {
			p.ahead = append(p.ahead, in.Additions[i])
		}
	}
	for i, f := range p.filed {
		moments = append(moments, moment{tS: f.tS, reading: i})
	}
	moments = append(moments, moment{tS: in.NowS, reading: -1})
	sort.SliceStable(moments, func(i, j int) bool { return moments[i].tS < moments[j].tS })
	lastS := 0.0
	for _, m := range moments {
		parts := p.stretches(lastS, m.tS)
		for _, part := range parts {
			p.steps = append(p.steps, timeStep{stretch: part, reading: -1})
		}
		if len(parts) == 0 || m.pour != nil || m.reading >= 0 {
			last := timeStep{reading: m.reading, pour: m.pour}
			if m.reading >= 0 && s.restarts[p.filed[m.reading].members[0]] {
				last.kickSDC = 25
			}
			p.steps = append(p.steps, last)
		}
		lastS = m.tS
	}
	return p
}

// fileReadings drops readings that are no measurement and gathers crowded ones.
func fileReadings(readings []WarmupReading, s signs) []filed {
	groups := len(readings)
	if groups > mostReadingsFiled {
		groups = mostReadingsFiled
	}
	list := make([]filed, 0, groups)
	for g := 0; g < groups; g++ {
		from, to := g*len(readings)/groups, (g+1)*len(readings)/groups
		var f filed
		temps := make([]float64, 0, to-from)
		for i := from; i < to; i++ {
			if !s.substituted[i] {
				f.members = append(f.members, i)
				temps = append(temps, readings[i].TempC)
				f.tS += readings[i].TS
			}
		}
		if len(temps) == 0 {
			continue
		}
		f.tS /= float64(len(temps))
		sort.Float64s(temps)
		f.tempC = (temps[(len(temps)-1)/2] + temps[len(temps)/2]) / 2
		step := s.stepsC[f.members[0]]
		// A display that rounds spreads its error evenly over one step.
		f.variance = float64(step*step)/12 + float64(readingNoiseC*readingNoiseC)
		if len(temps) > 1 {
			limit := float64(5*math.Sqrt(f.variance)) + 3*(readings[to-1].TS-readings[from].TS)/60
			for _, i := range f.members {
				if math.Abs(readings[i].TempC-f.tempC) > limit {
					f.spare = append(f.spare, i)
				}
			}
		}
		list = append(list, f)
	}
	return list
}

// stateAt returns the engine's state from tS on, and the seconds it has run before.
func (p *timeline) stateAt(tS float64) (state string, ranS float64) {
	state = "off"
	sinceS := 0.0
	for _, e := range p.engine {
		if e.TS > tS {
			break
		}
		if state != "off" {
			ranS += e.TS - sinceS
		}
		state, sinceS = e.State, e.TS
	}
	if state != "off" {
		ranS += tS - sinceS
	}
	return state, ranS
}

// stretches splits a time span where the engine changes.
func (p *timeline) stretches(fromS, toS float64) []stretch {
	var list []stretch
	for fromS < toS {
		state, ranS := p.stateAt(fromS)
		endS := toS
		for _, e := range p.engine {
			if e.TS > fromS && e.TS < endS {
				endS = e.TS
			}
		}
		s := stretch{dtS: endS - fromS, on: state != "off", driving: state == "driving", onFromS: ranS, onToS: ranS}
		if s.on {
			s.onToS += s.dtS
		}
		list = append(list, s)
		fromS = endS
	}
	return list
}

// drivingPace is how much faster fluid warms on the road than at idle:
// common practice, no source.
const drivingPace = 1.6

// pacedS is the length of a stretch in seconds of plain idling.
func (s *stretch) pacedS(p *pace) float64 {
	length := s.dtS
	if s.on && p.factor != 1 {
		length += float64((p.factor - 1) * s.after(p.onsetS))
	}
	if s.on && p.delayS > 0 {
		length -= s.dtS - s.after(p.delayS)
	}
	if s.driving {
		length *= drivingPace
	}
	return length
}

// after is the part of a stretch in which the engine has run longer than ranS.
func (s *stretch) after(ranS float64) float64 {
	switch {
	case s.onToS <= ranS:
		return 0
	case s.onFromS >= ranS:
		return s.dtS
	}
	return s.onToS - ranS
}
