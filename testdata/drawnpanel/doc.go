// Package drawnpanel draws simulated panels at random, each with eight outputs that are programmed
// at random, and says what each output does as a person who programmed it would tell it, so that
// what a survey finds of them can be counted. Rigs are drawn as the files that a workshop would
// write. It knows nothing of how a survey tells behaviours apart.
//
// What a workshop would wire and programme is invented here: common practice, no source.
package drawnpanel
