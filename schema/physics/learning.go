package physics

import (
	"math"
	"sort"
)

// lesson is what one earlier occasion says of whatever a subject (a vehicle, a
// mechanic) repeats, as a belief about two numbers. Both are measured from the middle
// of the default belief in its standard deviations, so that the default is
// the standard normal. A single number leaves the second without evidence.
type lesson struct {
	subject string
	belief  plane
	index   int // in the caller's list
}

// teacher foretells a subject's next occasion from lessons. Group, subject and
// occasion are nested normal spreads whose variances add up to one on each axis.
// A subject may change for good (a repair, a habit), and a lesson may be a slip.
type teacher struct {
	group, subject, occasion [2]float64
}

// newTeacher takes the spreads of subject and occasion as shares of the default's
// standard deviation; the rest of the variance is between groups.
func newTeacher(subject, occasion [2]float64) teacher {
	var t teacher
	for k := range t.group {
		t.subject[k], t.occasion[k] = float64(subject[k]*subject[k]), float64(occasion[k]*occasion[k])
		t.group[k] = 1 - t.subject[k] - t.occasion[k]
	}
	return t
}

// Chances from one occasion to the next, by judgement.
const (
	changeShare    = 0.06
	oddLessonShare = 0.03
	oddWidening    = 9.0 // a slip's variance as a multiple of the default's
	mostHistories  = 24
)

// foretold is what lessons say of a subject's next occasion.
type foretold struct {
	next        plane
	own, others int   // lessons of the subject that still count, and other subjects
	doubtful    []int // indexes of lessons left out as slips
}

// past is one guess of a subject's past: since when it is as it is now, and
// which lessons were slips.
type past struct {
	now       plane // the subject itself
	logWeight float64
	own       int
	slips     []int
}

// foretell reads the lessons, each subject's in order of time.
func (t teacher) foretell(subject string, lessons []lesson) foretold {
	sorted := append([]lesson(nil), lessons...)
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].subject < sorted[j].subject })
	start := standardPlane().times(t.group)
	fresh := start.plus(t.subject)
	out := foretold{doubtful: []int{}}
	var own []lesson
	var others []lesson
	for i := 0; i < len(sorted); {
		end := i
		for end < len(sorted) && sorted[end].subject == sorted[i].subject {
			end++
		}
		if subject != "" && sorted[i].subject == subject {
			own = sorted[i:end]
		} else {
			best := t.follow(sorted[i:end], fresh)[0]
			// What the subject was believed to be before is taken out again.
			others = append(others, lesson{subject: sorted[i].subject, belief: best.now.without(fresh), index: sorted[i].index})
			out.doubtful = append(out.doubtful, best.slips...)
		}
		i = end
	}
	group := start
	for _, o := range t.likely(others, &out.doubtful) {
		group = group.and(o.belief.plus(t.subject))
		out.others++
	}
	fresh = group.plus(t.subject)
	histories := t.follow(own, fresh)
	out.own = histories[0].own
	out.doubtful = append(out.doubtful, histories[0].slips...)
	sort.Ints(out.doubtful)
	beliefs, weights := make([]plane, 0, len(histories)+1), make([]float64, 0, len(histories)+1)
	for _, h := range histories {
		beliefs, weights = append(beliefs, h.now), append(weights, math.Exp(h.logWeight-histories[0].logWeight))
	}
	out.next = blend(beliefs, weights).plus(t.occasion)
	return out
}

// follow weighs the guesses of one subject's past, likeliest first. Each lesson
// either fits what was, or begins something new, or is a slip.
func (t teacher) follow(lessons []lesson, fresh plane) []past {
	histories := []past{{now: fresh}}
	unlike := fresh.times([2]float64{oddWidening, oddWidening})
	for _, l := range lessons {
		grown := make([]past, 0, 3*len(histories))
		seen := l.belief.plus(t.occasion)
		newest := math.Inf(-1) // weight of all pasts that end here
		for _, h := range histories {
			same := h
			same.logWeight += math.Log(1-changeShare-oddLessonShare) + h.now.logMatch(seen)
			same.now, same.own = h.now.and(seen), h.own+1
			slip := h
			slip.logWeight += math.Log(oddLessonShare) + unlike.logMatch(seen)
			slip.slips = append(append([]int(nil), h.slips...), l.index)
			grown = append(grown, same, slip)
			if h.own > 0 && h.logWeight > newest {
				newest = h.logWeight
				grown = append(grown, past{now: fresh.and(seen), own: 1, slips: h.slips,
					logWeight: h.logWeight + math.Log(changeShare) + fresh.logMatch(seen)})
			}
		}
		sort.SliceStable(grown, func(i, j int) bool { return grown[i].logWeight > grown[j].logWeight })
		keep := 1
		for keep < min(len(grown), mostHistories) && grown[keep].logWeight > grown[0].logWeight-12 {
			keep++
		}
		histories = grown[:keep]
	}
	return histories
}

// likely leaves out the subjects that all others speak against, worst first: once
// there are four, at most a quarter of them.
func (t teacher) likely(subjects []lesson, doubtful *[]int) []lesson {
	kept := append([]lesson(nil), subjects...)
	for left := len(subjects) / 4; left > 0 && len(kept) >= 4; left-- {
		all := standardPlane().times(t.group)
		for _, s := range kept {
			all = all.and(s.belief.plus(t.subject))
		}
		worst, worstZ := -1, 3.5
		for i, s := range kept {
			seen := s.belief.plus(t.subject)
			if z := all.without(seen).distance(seen); z > worstZ {
				worst, worstZ = i, z
			}
		}
		if worst < 0 {
			break
		}
		*doubtful = append(*doubtful, kept[worst].index)
		kept = append(kept[:worst], kept[worst+1:]...)
	}
	return kept
}
