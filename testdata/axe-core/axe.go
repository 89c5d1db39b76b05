// Package axe looks, with axe-core, for what keeps people from reading a page that a
// test's browser shows.
package axe

import (
	"context"
	_ "embed"
	"fmt"

	"github.com/chromedp/chromedp"
)

// Version is axe-core's.
const Version = "4.14.1"

//go:embed axe.min.js
var script string

// Violation is one place of a page that breaks a rule.
type Violation struct {
	Rule   string // axe-core's name of it
	Impact string // serious or critical
	Help   string // the rule in words
	Target string // selector of the place
	Why    string // what is wrong there
}

// String says it in one line.
func (v Violation) String() string {
	return fmt.Sprintf("%s (%s): %s: %s: %s", v.Rule, v.Impact, v.Help, v.Target, v.Why)
}

// found runs all rules and says what is serious or critical. The number of rules that the
// page was held against shows that they ran. Of what passed axe-core lists each rule with one place:
// to name all takes most of its time.
const found = `axe.run(document, {resultTypes: ['violations']}).then(r => ({
	Version: axe.version,
	Passed: r.passes.length,
	Violations: r.violations.filter(v => ['serious', 'critical'].includes(v.impact)).flatMap(v => v.nodes.map(n => ({
		Rule: v.id, Impact: v.impact, Help: v.help, Target: n.target.join(' '), Why: n.failureSummary.replace(/\s+/g, ' ')})))}))`

// Check runs axe-core on the page that the browser's context shows, and returns what is
// serious or critical. It is an error where no rule applied: then nothing was checked.
func Check(ctx context.Context) ([]Violation, error) {
	if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](script)); err != nil {
		return nil, err
	}
	r, err := chromedp.Run(ctx, chromedp.Evaluate[struct {
		Version    string
		Passed     int
		Violations []Violation
	}](found, chromedp.EvalAwaitPromise))
	switch {
	case err != nil:
		return nil, err
	case r.Version != Version:
		return nil, fmt.Errorf("axe-core is %s, not %s", r.Version, Version)
	case r.Passed == 0:
		return nil, fmt.Errorf("no rule of axe-core applied to the page")
	}
	return r.Violations, nil
}
