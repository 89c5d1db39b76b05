// Package metrics keeps a running test's figures for Prometheus: served for
// scraping, or written as a file for a collector of text files.
//
// Names start with makebreak_, values are in base units, and labels are few and
// bounded by the rig and the sequence. The unit's serial and the run stand in one
// metric only, makebreak_run_info; join it where they are needed. What could not
// be measured is not observed: it is counted in makebreak_missing_measurements_total
// and is never a zero.
package metrics
