// Package cause ranks what may be wrong with a bench or the unit on it, from the symptoms and
// figures of a whole run.
//
// A table says of each cause how probable each observation is if that is what is wrong, and
// why. The observations are facts of the run: what an output did when it was told to switch,
// whether a relay's contacts followed, at which events, in which cycles. Each place where a
// cause can lie is a hypothesis of its own. Bayes' rule makes shares of the probabilities,
// and the entropy that a measurement would take away says which one to make next.
//
// The package is pure: no clock, no files, no rig.
package cause
