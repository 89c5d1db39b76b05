package monitoring

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"makebreak/testdata/tool"
)

// promtool runs the Prometheus project's own checker in a folder and returns what it says. A
// complaint fails the test.
func promtool(t *testing.T, folder string, args ...string) string {
	t.Helper()
	cmd := exec.Command(tool.Find(t, "promtool"), args...)
	cmd.Dir = folder
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return string(out)
}

// rules are the names and expressions of the rules.
type rules struct {
	Groups []struct {
		Rules []struct{ Record, Alert, Expr string }
	}
}

func readRules(t *testing.T) (r rules) {
	t.Helper()
	text, err := Files.ReadFile("makebreak.rules.yml")
	if err == nil {
		err = yaml.Unmarshal(text, &r)
	}
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What the rules say of invented rigs: makebreak.test.yml.
func TestRules_Promtool(t *testing.T) {
	t.Parallel()
	promtool(t, ".", "test", "rules", "makebreak.test.yml")
}

// The settings are whole and lead to the rules.
func TestSettings_Promtool(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.CopyFS(dir, Files); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "makebreak"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(dir, "rigs.yml"), filepath.Join(dir, "makebreak", "rigs.yml")); err != nil {
		t.Fatal(err)
	}
	if said := promtool(t, dir, "check", "config", "prometheus.yml"); !strings.Contains(said, "SUCCESS: 22 rules found") {
		t.Errorf("promtool check config: %s", said)
	}
}

// Each rule is tested, and each alert where it fires and where it does not.
func TestRules_Tested(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("makebreak.test.yml")
	if err != nil {
		t.Fatal(err)
	}
	for _, group := range readRules(t).Groups {
		for _, r := range group.Rules {
			if r.Record != "" && !strings.Contains(string(text), r.Record) {
				t.Errorf("%s is not tested", r.Record)
			}
			if r.Alert == "" {
				continue
			}
			quiet := strings.Contains(string(text), "{alertname: "+r.Alert+",")
			fires := strings.Contains(string(text), "- alertname: "+r.Alert+"\n") || strings.Contains(string(text), `alertname="`+r.Alert+`"`)
			if !quiet && r.Alert != "MakebreakCalibrationDue" || !fires {
				t.Errorf("%s: tested where it fires %t, where it does not %t", r.Alert, fires, quiet)
			}
		}
	}
}

var metricName = regexp.MustCompile(`\b(makebreak_[a-z0-9_]+)\b`)

// catalogue is the names of the metrics that there are, from the tables of the page about them.
func catalogue(t *testing.T) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	for _, table := range []string{"metrics-table.md", "metrics-log-table.md"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "golden", table))
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(text)) {
			cells := strings.Split(line, "|")
			name := metricName.FindString(cells[1])
			names[name] = true
			if len(cells) > 2 && strings.TrimSpace(cells[2]) == "histogram" {
				names[name+"_bucket"], names[name+"_sum"], names[name+"_count"] = true, true, true
			}
		}
	}
	return names
}

// unknownNames returns the names in an expression that no metric and no rule has.
func unknownNames(known map[string]bool, records rules, expr string) (unknown []string) {
	for _, group := range records.Groups {
		for _, r := range group.Rules {
			if r.Record != "" {
				expr = strings.ReplaceAll(expr, r.Record, "")
			}
		}
	}
	for _, name := range metricName.FindAllString(expr, -1) {
		if !known[name] {
			unknown = append(unknown, name)
		}
	}
	return unknown
}

// An expression with a name that is not there is no error to Prometheus, and never has a value.
func TestRules_Names(t *testing.T) {
	t.Parallel()
	known, all := catalogue(t), readRules(t)
	n := 0
	for _, group := range all.Groups {
		for _, r := range group.Rules {
			n++
			if unknown := unknownNames(known, all, r.Expr); len(unknown) > 0 {
				t.Errorf("%s%s: there are no metrics %q", r.Record, r.Alert, unknown)
			}
		}
	}
	if n < 20 {
		t.Errorf("%d rules", n)
	}
}
