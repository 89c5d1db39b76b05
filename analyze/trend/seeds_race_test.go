//go:build race

package trend

// seeds is smaller here: the race detector makes arithmetic many times slower.
const seeds = 100
