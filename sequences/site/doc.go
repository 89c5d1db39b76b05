// Package site is the local site: what happens now, the log with a search, and the record of
// each run, for whoever is at the bench or on the workshop's network. It only reads: no
// request changes the log or acts on a drive. Exercises are the exception: each trainee's has a
// simulated bench of its own. It is served by makebreak/rig/web.
package site
