// Package sheet makes what lies beside a bench: the wiring, with the points at which a meter's
// probe can be held, and the job card, which says what each output must do. Both are drawings
// and text. They say what should be, and nothing of what is wrong.
package sheet
