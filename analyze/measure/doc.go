// Package measure turns captures into figures with uncertainties and verdicts, state by
// state: a state lasts from one event to the next. It is pure, as package analyze says.
package measure
