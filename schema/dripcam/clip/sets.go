package clip

import (
	"math"
	"math/rand/v2"
)

// kinds names the kinds of clips, in the order of Set.
var kinds = []string{
	"plain", "faint", "dark", "bright", "flicker", "bands", "drift", "exposure", "shake", "jolts",
	"hand", "shadow", "blur", "glint", "small", "large", "soft", "stamps", "double", "fast", "everything",
}

// Kinds returns the names of all kinds of clips.
func Kinds() []string { return append([]string(nil), kinds...) }

// Make returns the clip of a kind for a rate (drops a second), a length and a seed.
func Make(kind string, ratePerS, lengthMS float64, seed uint64) *Clip {
	rng := rand.New(rand.NewPCG(seed, 0x5ce0e))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	heightM := between(0.06, 0.2)
	s := Scene{
		Kind: kind, RatePerS: ratePerS, LengthMS: lengthMS,
		SpreadOfGap: between(0.03, 0.15),
		HeightM:     heightM, WidthM: heightM * between(0.3, 0.7), Lip: between(-0.8, 0.12),
		DropM: between(0.0038, 0.0058), Contrast: between(35, 80), Roll: between(-0.06, 0.06),
		Level: between(80, 150), Texture: between(4, 22), Noise: between(1.2, 3.2),
		FPS: 30, ExposureMS: between(2, 12), Blur: between(0.002, 0.01),
	}
	if rng.IntN(2) == 0 {
		s.Contrast = -s.Contrast
	}
	glint := rng.IntN(2) == 0
	s.disturb(kind, between, rng)
	if glint {
		s.Glint = -1.2 * s.Contrast
	}
	s.countable()
	return New(s, seed)
}

// crossMS is how long a drop is in the region.
func (s *Scene) crossMS() float64 {
	from := math.Max(0, -s.Lip)
	return 1000 * (math.Sqrt(2*(1-s.Lip)*s.HeightM/gravity) - math.Sqrt(2*from*s.HeightM/gravity))
}

// countable makes the scene one in which a person who steps through the frames
// could count the drops: each is in at least two frames, and stands out of the
// noise of a strip of 24 by 96 pixels by six times its spread, by the best
// filter there is.
func (s *Scene) countable() {
	const shortestMS, clearest = 67, 6
	for s.Kind != "fast" && s.crossMS() < shortestMS {
		s.HeightM, s.WidthM = s.HeightM*1.05, s.WidthM*1.05
	}
	wide, high := s.DropM/s.WidthM*24, s.DropM/s.HeightM*96
	smear := 96 * s.ExposureMS / s.crossMS()
	seen := math.Abs(s.Contrast) * 0.785 * wide * high
	if s.Glint != 0 {
		seen *= 0.8
	}
	blur := s.Blur * 96
	area := (wide + 1 + blur*s.HeightM/s.WidthM/4) * (high + 1 + smear + blur)
	if times := seen / (s.Noise * math.Sqrt(area)); times < clearest {
		s.Contrast *= clearest / times
		s.Glint *= clearest / times
	}
}

// disturb gives the scene what its kind is about.
func (s *Scene) disturb(kind string, between func(low, high float64) float64, rng *rand.Rand) {
	switch kind {
	case "faint":
		s.Contrast *= 0.45
		s.Noise = between(2, 3)
	case "dark":
		s.Level, s.Texture, s.Noise = between(28, 45), between(2, 6), between(3, 4.5)
	case "bright":
		s.Level, s.Texture = between(190, 225), between(3, 10)
	case "flicker":
		s.MainsDepth, s.MainsHz = between(0.03, 0.12), []float64{100, 120, 100.2, 119.8, 47, 4.3}[rng.IntN(6)]
	case "bands":
		s.MainsDepth, s.MainsHz, s.Rolling = between(0.03, 0.12), []float64{100, 120, 100.2, 119.8}[rng.IntN(4)], true
	case "drift":
		s.DriftDepth, s.DriftS = between(0.1, 0.35), between(5, 20)
	case "exposure":
		s.ExposureSteps = between(8, 20)
	case "shake":
		s.ShakeSize = between(0.004, 0.014)
	case "jolts":
		s.ShakeSize, s.JoltsPerMin = between(0.002, 0.006), between(4, 9)
	case "hand":
		s.HandsPerMin = between(5, 10)
	case "shadow":
		s.ShadowsPerMin = between(6, 12)
	case "blur":
		s.ExposureMS = between(18, 30)
		s.Contrast *= 1.3
	case "glint":
		s.Lip, s.LipGlint = between(0.02, 0.15), between(60, 110)
	case "small":
		s.DropM = between(0.0028, 0.0036)
	case "large":
		s.HeightM = between(0.045, 0.07)
		s.WidthM = s.HeightM * between(0.45, 0.7)
		s.DropM = between(0.0055, 0.007)
	case "soft":
		s.Blur = between(0.02, 0.035)
	case "stamps":
		s.DroppedShare, s.JitterMS = between(0.03, 0.08), between(1, 4)
	case "double":
		s.DoubleShare = between(0.1, 0.3)
	case "fast":
		s.Lip, s.HeightM = between(-0.8, -0.3), between(0.07, 0.1)
		s.WidthM = s.HeightM * between(0.4, 0.7)
	case "everything":
		s.MainsDepth, s.MainsHz, s.Rolling = between(0.02, 0.06), 100, rng.IntN(2) == 0
		s.DriftDepth, s.DriftS, s.ExposureSteps = 0.12, 14, 5
		s.ShakeSize, s.JoltsPerMin, s.HandsPerMin, s.ShadowsPerMin = between(0.002, 0.006), 2, 2, 3
		s.DroppedShare, s.JitterMS, s.LipGlint = 0.02, 1.5, 50
	}
}
