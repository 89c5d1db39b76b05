// Package upkeep keeps a log in order: it picks what is old enough to be removed, removes
// it, and checks whether all of a log is sound. What it finds are values that can write
// themselves as text.
package upkeep
