// Package testdata holds the golden vectors, so that the program's help can show
// a worked example of each computation: the same that the tests hold it to.
package testdata

import "embed"

// Vectors are the golden vectors of the computations, physics/NAME.json.
//
//go:embed physics/*.json
var Vectors embed.FS
