//go:build !race

package trend

const seeds = 1000
