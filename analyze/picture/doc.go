// Package picture draws what a record shows, as SVG or PNG: the timing of an output and its
// contacts at an event, how values spread and how they moved between two runs, and of a soak its
// courses, its failures and the boards' lives on Weibull paper. Of a bench it draws the wiring,
// of a sequence the job card, and of a sum its small circuit or its bars.
//
// What is drawn is worked out first, as figures, in Timing, Strip, Change, Course, Timeline,
// Paper, Wiring, Card, Ladder and Shares; drawing adds nothing to it. The same figures give the same bytes of an SVG.
package picture
