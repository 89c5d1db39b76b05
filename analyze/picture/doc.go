// Package picture draws the lives of several boards on Weibull paper, as SVG or PNG.
//
// What is drawn is worked out first, as figures, in Paper; drawing adds nothing to
// it. The same boards give the same bytes of an SVG.
package picture
