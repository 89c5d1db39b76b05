//go:build !race

package setup_test

const raceEnabled = false
