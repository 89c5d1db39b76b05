// Package picture draws what soaks show: the lives of several boards on Weibull paper,
// as SVG or PNG, and how a quantity went over a run's cycles, for a page.
//
// What is drawn is worked out first, as figures, in Paper, Course and Timeline; drawing adds
// nothing to it. The same figures give the same bytes of an SVG.
package picture
