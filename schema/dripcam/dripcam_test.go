package dripcam_test

import (
	"fmt"
	"math"
	"testing"

	"brimline/schema/dripcam"
	"brimline/schema/dripcam/clip"
)

// toleranceMS is how near a found drop must be to a true one.
const toleranceMS = 120

// tally counts right, false and missed drops.
type tally struct {
	right, wrong, missed, hidden int
	minutes                      float64
	worstLagMS                   float64
	errorMS                      float64
}

func (a *tally) add(b tally) {
	a.right += b.right
	a.wrong += b.wrong
	a.missed += b.missed
	a.hidden += b.hidden
	a.minutes += b.minutes
	a.worstLagMS = math.Max(a.worstLagMS, b.worstLagMS)
	a.errorMS += b.errorMS
}

func (a tally) f1() float64 {
	if a.right+a.wrong+a.missed == 0 {
		return 1
	}
	return 2 * float64(a.right) / float64(2*a.right+a.wrong+a.missed)
}

func (a tally) String() string {
	return fmt.Sprintf("F1 %.3f  right %d wrong %d missed %d hidden %d  false/min %.2f  mean error %.0f ms  worst lag %.0f ms",
		a.f1(), a.right, a.wrong, a.missed, a.hidden, float64(a.wrong)/a.minutes, a.errorMS/math.Max(1, float64(a.right)), a.worstLagMS)
}

// watch plays a clip to a new detector.
func watch(t testing.TB, c *clip.Clip) (found []dripcam.Drop, result tally) {
	d := dripcam.New()
	raster := c.Strip(dripcam.Width, dripcam.Height)
	strip := make([]byte, dripcam.Width*dripcam.Height)
	for i := range c.Frames() {
		at := raster.Frame(i, strip)
		drops, err := d.Frame(at, strip)
		if err != nil {
			t.Fatal(err)
		}
		for _, drop := range drops {
			result.worstLagMS = math.Max(result.worstLagMS, at-drop.AtMS)
		}
		found = append(found, drops...)
	}
	result.minutes = c.LengthMS / 60000
	match(c.Drops, found, &result)
	return found, result
}

// match pairs true and found drops in order of time, each at most once. A drop
// that a hand hid may be found or not.
func match(truth []clip.Drop, found []dripcam.Drop, result *tally) {
	used := make([]bool, len(found))
	for pass := range 2 {
		for _, d := range truth {
			if d.Hidden != (pass == 1) {
				continue
			}
			best, off := -1, float64(toleranceMS)
			for i, f := range found {
				if e := math.Abs(f.AtMS - d.AtMS); !used[i] && e <= off {
					best, off = i, e
				}
			}
			switch {
			case best >= 0:
				used[best] = true
				if !d.Hidden {
					result.right++
					result.errorMS += off
				}
			case !d.Hidden:
				result.missed++
			}
			if d.Hidden {
				result.hidden++
			}
		}
	}
	for _, u := range used {
		if !u {
			result.wrong++
		}
	}
}

// BenchmarkFrame is what one frame costs.
func BenchmarkFrame(b *testing.B) {
	c := clip.Make("everything", 4, 10000, 1)
	raster := c.Strip(dripcam.Width, dripcam.Height)
	var strips [][]byte
	for i := range c.Frames() {
		strip := make([]byte, dripcam.Width*dripcam.Height)
		raster.Frame(i, strip)
		strips = append(strips, strip)
	}
	d := dripcam.New()
	b.ResetTimer()
	for i := range b.N {
		if _, err := d.Frame(float64(i)*100/3, strips[i%len(strips)]); err != nil {
			b.Fatal(err)
		}
	}
}

// clips are those of the acceptance test: every kind of clip twice, at rates
// that go through all kinds, with seeds that were never looked at while the
// detector was made (those are below 10000).
func clips() []*clip.Clip {
	rates := []float64{0.2, 0.5, 1, 2, 3, 4, 5, 6}
	var out []*clip.Clip
	for k, kind := range clip.Kinds() {
		for n := range 3 {
			rate := rates[(k+3*n)%len(rates)]
			out = append(out, clip.Make(kind, rate, 20000, uint64(50000+100*k+n)))
		}
	}
	return out
}

func TestCountsClipsItWasNotTunedOn(t *testing.T) {
	list := clips()
	if len(list) < 40 {
		t.Fatalf("%d clips, want at least 40", len(list))
	}
	results := make([]tally, len(list))
	t.Run("clips", func(t *testing.T) {
		for i, c := range list {
			t.Run(fmt.Sprintf("%s at %v a second, seed %d", c.Kind, c.RatePerS, c.Seed), func(t *testing.T) {
				t.Parallel()
				_, results[i] = watch(t, c)
				if results[i].worstLagMS > 330 {
					t.Errorf("a drop was told after %.0f ms", results[i].worstLagMS)
				}
			})
		}
	})
	var slow, fast, disturbed tally
	byKind := map[string]*tally{}
	for i, c := range list {
		if byKind[c.Kind] == nil {
			byKind[c.Kind] = &tally{}
		}
		byKind[c.Kind].add(results[i])
		if c.RatePerS <= 4 {
			slow.add(results[i])
		} else {
			fast.add(results[i])
		}
		if c.HandsPerMin > 0 || c.MainsDepth > 0 {
			disturbed.add(results[i])
		}
	}
	for _, kind := range clip.Kinds() {
		t.Logf("%-10s %v", kind, byKind[kind])
	}
	t.Logf("up to 4/s  %v", slow)
	t.Logf("up to 6/s  %v", fast)
	t.Logf("hand and flicker %v", disturbed)
	if got := slow.f1(); got < 0.97 {
		t.Errorf("F1 up to 4 drops a second is %.3f, want at least 0.97", got)
	}
	if got := fast.f1(); got < 0.93 {
		t.Errorf("F1 at 5 and 6 drops a second is %.3f, want at least 0.93", got)
	}
	if got := float64(disturbed.wrong) / disturbed.minutes; got > 1 {
		t.Errorf("%.2f false drops a minute with hands and flicker, want at most 1", got)
	}
}
