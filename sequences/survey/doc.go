// Package survey learns what a unit's outputs and relays do: it has each of a rig's events
// brought about in each state that the events lead to, and makes a table of behaviours of what
// the captures show. The table can be written as a sequence, whose limits follow from what was
// measured.
//
// What is brought about is a run as any other, of a sequence that demands nothing; the table is
// made of the captures that the log keeps of it. So it can be made again at any time.
package survey
