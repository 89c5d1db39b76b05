// Package diagnose says what measurements mean: it notes symptoms of what was seen, makes
// findings of a run's symptoms, and finds what would settle a figure near its limit. All
// sentences about measurements are made here, when they are told.
package diagnose
