// Command film writes a clip as a film that a browser can be given for a camera:
// JPEG pictures one after the other (.mjpeg), 640 by 480 at 30 a second, and the
// truth beside it as JSON.
//
//	go run ./schema/dripcam/clip/film -kind hand -rate 2 -seconds 30 -seed 7 -out drops.mjpeg
package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"slices"

	"brimline/schema/dripcam/clip"
)

// The picture, and the box in it that the clip's region is.
const (
	width, height                   = 640, 480
	boxX, boxY, boxWidth, boxHeight = 260, 130, 120, 260
	// One pixel of a strip is some thirteen of the picture; noise of a picture's
	// pixel is so much larger that about the clip's own is left in a strip.
	noiseOfPixel = 2.2
)

// truth is the JSON beside the film.
type truth struct {
	Seconds float64   `json:"seconds"`
	Drops   []float64 `json:"drops_ms"`
	Hidden  []float64 `json:"hidden_ms"` // behind a hand
	Box     box       `json:"box"`       // in shares of the picture
}

type box struct {
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
	Width  float64 `json:"width"`
	Height float64 `json:"height"`
}

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "film:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	flags := flag.NewFlagSet("film", flag.ContinueOnError)
	kind := flags.String("kind", "plain", "kind of clip")
	rate := flags.Float64("rate", 2, "drops a second")
	seconds := flags.Float64("seconds", 30, "length")
	seed := flags.Uint64("seed", 1, "seed of the clip")
	out := flags.String("out", "", "name of the film, ending in .mjpeg; the truth is beside it, ending in .json")
	if err := flags.Parse(args); err != nil {
		return err
	}
	switch {
	case !slices.Contains(clip.Kinds(), *kind):
		return fmt.Errorf("kind must be one of %v", clip.Kinds())
	case *out == "":
		return errors.New("out must name a file")
	case !(*rate >= 0 && *rate <= 20) || !(*seconds > 0 && *seconds <= 600):
		return errors.New("rate must be 0-20 a second and seconds 0-600")
	}
	scene := clip.Make(*kind, *rate, *seconds*1000, *seed).Scene
	scene.WidthM = scene.HeightM * boxWidth / boxHeight // round drops
	scene.Noise *= noiseOfPixel
	scene.DroppedShare, scene.JitterMS = 0, 0 // the camera keeps its own time
	c := clip.New(scene, *seed)
	if err := writeFilm(c, *out); err != nil {
		return err
	}
	return writeTruth(c, *out+".json")
}

func writeFilm(c *clip.Clip, name string) error {
	file, err := os.Create(name)
	if err != nil {
		return err
	}
	defer file.Close()
	w := bufio.NewWriterSize(file, 1<<20)
	picture := image.NewYCbCr(image.Rect(0, 0, width, height), image.YCbCrSubsampleRatio420)
	for i := range picture.Cb {
		picture.Cb[i], picture.Cr[i] = 128, 128
	}
	raster := c.Picture(width, height, boxX, boxY, boxWidth, boxHeight)
	for i := range c.Frames() {
		raster.Frame(i, picture.Y)
		if err := jpeg.Encode(w, picture, &jpeg.Options{Quality: 80}); err != nil {
			return err
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return file.Close()
}

func writeTruth(c *clip.Clip, name string) error {
	t := truth{
		Seconds: c.LengthMS / 1000, Drops: []float64{}, Hidden: []float64{},
		Box: box{float64(boxX) / width, float64(boxY) / height, float64(boxWidth) / width, float64(boxHeight) / height},
	}
	for _, d := range c.Drops {
		if d.Hidden {
			t.Hidden = append(t.Hidden, d.AtMS)
		} else {
			t.Drops = append(t.Drops, d.AtMS)
		}
	}
	text, err := json.Marshal(t)
	if err != nil {
		return err
	}
	return os.WriteFile(name, text, 0o644)
}
