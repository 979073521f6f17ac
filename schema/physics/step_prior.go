package physics

import (
	"math"
	"strconv"
)

// DoneStep is how long one act took someone.
type DoneStep struct {
	Mechanic string  `json:"mechanic"`
	Act      string  `json:"act"`
	TookS    float64 `json:"took_s"`
}

// TypicalStep is how long an act takes before anything is learned.
type TypicalStep struct {
	Act   string `json:"act"`
	TookS Normal `json:"took_s"`
}

// StepPriorInput is a mechanic, the steps done so far by all, and the acts still ahead.
type StepPriorInput struct {
	Mechanic string        `json:"mechanic"`
	Done     []DoneStep    `json:"done"`
	Typical  []TypicalStep `json:"typical,omitempty"`
	Plan     []string      `json:"plan,omitempty"`
}

// LearnedStep is what to expect of one act.
type LearnedStep struct {
	Act            string `json:"act"`
	TookS          Normal `json:"took_s"`
	From           string `json:"from"`
	OwnSteps       int    `json:"own_steps"`
	OtherMechanics int    `json:"other_mechanics"`
	Doubtful       []int  `json:"doubtful"`
}

// StepPriorOutput is what to expect of each act, and of the plan as a whole: fit
// for remaining_s of warmup-forecast and needed_s of visit-slots.
type StepPriorOutput struct {
	Steps      []LearnedStep `json:"steps"`
	RemainingS *Normal       `json:"remaining_s"`
}

// Before anything is known of an act: two minutes, log sd 0.9, by judgement. One
// mechanic's way with an act has log sd 0.35, one occasion's 0.3; so of a narrow typical
// length only what is left is in doubt between trades.
const (
	defaultStepS     = 120.0
	defaultStepLogSD = 0.9
	mechanicLogSD    = 0.35
	occasionLogSD    = 0.30
	leastStepLogSD   = 0.50
	mostActs         = 60
	mostStepsDone    = 2000
	// What delays one step delays the next: the lengths of a plan's steps go together.
	stepsTogether = 0.3
)

// StepPrior learns how long each act of a check takes a mechanic, from the
// mechanic's own earlier steps and those of colleagues.
//
// Model: that of warmup-prior, for the logarithm of an act's length: trade, mechanic
// and occasion are nested normal spreads; habits may change, an interrupted step is
// a slip. The steps of a plan are correlated by 0.3.
//
// Shapes: up to 2,000 done steps, of which the newest 200 of an act count, one
// mechanic's in order of time; up to 60 acts; act and mechanic are any texts, mechanic
// may be empty (then no step is the mechanic's own). An act may stand in plan more
// than once. steps lists the acts of typical, plan and done in the order of their first
// appearance there; doubtful are indexes in done.
// Units: seconds; took_s is the mean and sd of a log-normal.
// Nulls: remaining_s is null without plan.
// Errors: out_of_range, too_many, and twice on an act given twice in typical, each with
// its path.
// Accuracy: to rounding for the model. from is "default", "profile" (colleagues),
// "mechanic" or "mechanic and profile"; own_steps counts those since the last change.
// Source: as warmup-prior; the spreads are design assumptions.
func StepPrior(in StepPriorInput) (StepPriorOutput, error) {
	if err := in.check(); err != nil {
		return StepPriorOutput{}, err
	}
	out := StepPriorOutput{Steps: []LearnedStep{}}
	acts, err := in.acts()
	if err != nil {
		return StepPriorOutput{}, err
	}
	for _, act := range acts {
		out.Steps = append(out.Steps, in.learn(act))
	}
	if len(in.Plan) == 0 {
		return out, nil
	}
	var mean, variance, sds float64
	for _, act := range in.Plan {
		for _, s := range out.Steps {
			if s.Act == act {
				mean += s.TookS.Mean
				variance += float64(s.TookS.SD * s.TookS.SD)
				sds += s.TookS.SD
			}
		}
	}
	out.RemainingS = &Normal{Mean: mean, SD: math.Sqrt(float64((1-stepsTogether)*variance) + float64(stepsTogether*sds*sds))}
	return out, nil
}

func (in StepPriorInput) check() error {
	var c checks
	c.count("done", len(in.Done), mostStepsDone)
	c.count("typical", len(in.Typical), mostActs)
	c.count("plan", len(in.Plan), mostLessons)
	if c.first != nil {
		return c.err()
	}
	for i, d := range in.Done {
		c.between(at("done", i, "took_s"), d.TookS, 0.5, 86_400)
	}
	for i, t := range in.Typical {
		c.between(at("typical", i, "took_s.mean"), t.TookS.Mean, 0.5, 86_400)
		c.between(at("typical", i, "took_s.sd"), t.TookS.SD, 0, 86_400)
		for _, before := range in.Typical[:i] {
			if before.Act == t.Act {
				c.fail("twice", at("typical", i, "act"), "must not stand in the list twice")
			}
		}
	}
	return c.err()
}

// acts lists every act that is named, once.
func (in StepPriorInput) acts() ([]string, error) {
	var list []string
	known := map[string]bool{}
	add := func(act string) {
		if !known[act] {
			known[act] = true
			list = append(list, act)
		}
	}
	for _, t := range in.Typical {
		add(t.Act)
	}
	for _, act := range in.Plan {
		add(act)
	}
	for _, d := range in.Done {
		add(d.Act)
	}
	if len(list) > mostActs {
		var c checks
		c.fail("too_many", "done", "name at most "+strconv.Itoa(mostActs)+" different acts")
		return nil, c.err()
	}
	return list, nil
}

// learn foretells one act.
func (in StepPriorInput) learn(act string) LearnedStep {
	median, logSD := defaultStepS, defaultStepLogSD
	for _, t := range in.Typical {
		if t.Act == act {
			median, logSD = logNormal(t.TookS)
			logSD = math.Min(3, math.Max(leastStepLogSD, logSD))
		}
	}
	var lessons []lesson
	for i := len(in.Done) - 1; i >= 0 && len(lessons) < mostLessons; i-- {
		if d := in.Done[i]; d.Act == act {
			lessons = append(lessons, lesson{subject: d.Mechanic, belief: line(math.Log(d.TookS/median)/logSD, 1e-6), index: i})
		}
	}
	for i, j := 0, len(lessons)-1; i < j; i, j = i+1, j-1 {
		lessons[i], lessons[j] = lessons[j], lessons[i]
	}
	t := newTeacher([2]float64{mechanicLogSD / logSD, 0}, [2]float64{occasionLogSD / logSD, 0})
	f := t.foretell(in.Mechanic, lessons)
	return LearnedStep{
		Act: act, TookS: fromLog(math.Log(median)+float64(logSD*f.next.x), logSD*math.Sqrt(f.next.xx)),
		From: learnedFrom(f.own, f.others, "mechanic"), OwnSteps: f.own, OtherMechanics: f.others, Doubtful: f.doubtful,
	}
}
