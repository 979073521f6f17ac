package main

import (
	"os"
	"path/filepath"
	"testing"

	"brimline/schema/physics"
)

// BenchmarkForecast is one warmup-forecast with thirty readings through the
// same door, JSON in and JSON out, that the phone's is measured at.
func BenchmarkForecast(b *testing.B) {
	input, err := os.ReadFile(filepath.Join("..", "..", "testdata", "checks", "thirty-readings.json"))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := physics.Compute("warmup-forecast", input); err != nil {
			b.Fatal(err)
		}
	}
}
