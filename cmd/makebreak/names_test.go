package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Names are looked at where they come in: one that would harm or hide in what is printed of
// it for as long as the log lasts is refused, typed ones with 64, those of files with 65.
func TestNames_ComingIn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	bench, err := os.ReadFile("../../rig/wiring/rigfile/bench.yaml")
	if err != nil {
		t.Fatal(err)
	}
	rigLine, _, _ := strings.Cut(string(bench[strings.Index(string(bench), "name:"):]), "\n")
	log := filepath.Join(dir, "log.db")
	for name, says := range map[string]string{
		"   ": "blank", "a\nb": "U+000A", "a\x1b[2J": "U+001B", "a\u009bb": "U+009B", "a\u202eb": "U+202E", "a\u200bb": "U+200B", "=1+1": "formula", "+1": "formula", "-1": "formula", "@a": "formula",
		"＝1": "formula", strings.Repeat("x", 81): "81 characters", "a\xff": "UTF-8",
	} {
		for _, flag := range []string{"--unit", "--by"} {
			if status, _, errs := run(t, "run", "relay-only", "--seed", "1", "--log", log, flag+"="+name); status != exitUsage || !strings.Contains(errs, says) {
				t.Errorf("%s %q: exit status %d: %s", flag, name, status, errs)
			}
		}
		if strings.Contains(name, "\xff") {
			continue // no file has it: it is no text
		}
		quoted := yamlQuoted(name)
		for what, args := range map[string][]string{
			"sequence": {"run", file("seq.yaml", "name: "+quoted+"\nsteps:\n  - {event: energise, hold: 1 s}\n"), "--log", log},
			"rig":      {"rig", "check", "--rig", file("rig.yaml", strings.Replace(string(bench), rigLine, "name: "+quoted, 1))},
			"meter": {"rig", "calibrate", "OUT3", "--rig", file("well.yaml", string(bench)), "--points",
				file("points.yaml", "meter: "+quoted+"\naccuracy: 0.5 % + 2 digits\npoints:\n  - {meter: 0.651 V, read: 0.648 V}\n  - {meter: 13.47 V, read: 13.46 V}\n")},
		} {
			if status, _, errs := run(t, args...); status != exitInput {
				t.Errorf("the name of a %s %q: exit status %d: %s", what, name, status, errs)
			}
		}
		if strings.Contains(name, "\n") || strings.TrimSpace(name) == "" {
			continue // no heading at all
		}
		if status, _, errs := run(t, "analyze", file("c.csv", "time_s,"+name+"_V\n0,1\n1,2\n")); status != exitInput {
			t.Errorf("a column's heading %q: exit status %d: %s", name, status, errs)
		}
	}
	if entries, _ := filepath.Glob(log + "*"); len(entries) > 0 {
		t.Errorf("something was logged: %v", entries)
	}
	if status, out, errs := run(t, "run", "relay-only", "--seed", "1", "--log", log, "--unit", " U-1\t", "--by", " Zoë "); status != exitPass || !strings.Contains(out, "U-1\n") {
		t.Errorf("exit status %d: %s%s", status, out, errs)
	}
	if _, out, _ := run(t, "report", "last", "--log", log, "--as", "csv"); !strings.Contains(out, ",U-1,") || !strings.Contains(out, ",Zoë,") {
		t.Errorf("blanks were not taken off: %.300s", out)
	}
}

// yamlQuoted writes a text as YAML reads it back, invisible characters by their numbers.
func yamlQuoted(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0:
			b.WriteString(`\x` + string("0123456789abcdef"[r>>4]) + string("0123456789abcdef"[r&15]))
		case r == '"' || r == '\\':
			b.WriteString(`\` + string(r))
		default:
			b.WriteRune(r)
		}
	}
	return `"` + b.String() + `"`
}
