// Package sequences reads sequence files: which events happen when, and what each
// output and relay must do. A sequence knows nothing of how a rig is wired, so one
// serves every rig that has the signals and events it names.
package sequences
