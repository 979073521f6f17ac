// Package calibration holds the forecasts and estimates of package physics
// against simulated gearboxes whose truth is known.
package calibration
