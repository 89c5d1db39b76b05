package main

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// tooWide are the lines of a text that have more columns than there usually are. One that names
// a path may have any length: it is never broken.
func tooWide(text, path string) (lines []string) {
	for line := range strings.Lines(text) {
		if line = strings.TrimRight(line, "\n"); utf8.RuneCountInString(line) > usualColumns && !strings.Contains(line, path) {
			lines = append(lines, line)
		}
	}
	return lines
}

// Each command's help fits 80 columns.
func TestWidth_Help(t *testing.T) {
	t.Setenv("COLUMNS", "")
	eachCommand(func(c *cobra.Command) {
		words := strings.Fields(c.CommandPath())[1:]
		if c.Hidden {
			return
		}
		_, out, errs := run(t, append(words, "--help")...)
		if len(out) < 100 || errs != "" {
			t.Errorf("%s: %d bytes of help, %q", c.CommandPath(), len(out), errs)
		}
		for _, line := range tooWide(out, "\x00") {
			t.Errorf("%s --help: %q", c.CommandPath(), line)
		}
	})
}

// asIs are commands that write a file's text as it is, be it for a program or for a shell.
var asIs = regexp.MustCompile(`--schema|--capture|--diagram|--as |^install`)

// What each command writes for people fits 80 columns: results, and questions. Messages do so
// on a terminal alone, see testdata/script/terminal.txtar: elsewhere each is one line.
func TestWidth_Results(t *testing.T) {
	t.Setenv("COLUMNS", "")
	f := newHostileFiles(t)
	calls := map[string][]string{}
	for command, all := range hostileCommands {
		calls[command] = all
	}
	calls["makebreak run"] = append([]string{
		"armed-high --seed 1 --log NEW --cycles 2", "armed-high --seed 1 --log NEW --cycles 2 --all --fault chatter", "relay-supply --seed 1 --log NEW --cycles 1 --all", "armed-high --seed 1 --log NEW --cycles 2 --fault wrong-address",
		"armed-pulse --seed 1 --log NEW --cycles 3 --fault missed-cycle=2", "exit-delay --seed 1 --log NEW --cycles 1 --fault hum", "armed-high --seed 1 --log NEW --cycles 1 --fault loose-wire -o DIR/r.html --as html"}, calls["makebreak run"]...)
	calls["makebreak rig calibrate"] = append(calls["makebreak rig calibrate"], "OUT3 --rig RIG --by A --seed 1")
	calls["makebreak rig check"] = append(calls["makebreak rig check"], "--steps --rig RIG")
	n := 0
	for command, all := range calls {
		for _, call := range all {
			name := strings.TrimPrefix(command+" "+call, "makebreak ")
			if asIs.MatchString(name) {
				continue
			}
			words := append(strings.Fields(command)[1:], f.words(call, f.log)...)
			var out, errs bytes.Buffer
			bounded(words, streams{strings.NewReader(strings.Repeat("yes\n", 3)), &out, &errs})
			n += out.Len()
			for _, line := range tooWide(out.String(), f.dir) {
				t.Errorf("%s: %q", name, line)
			}
			if strings.HasPrefix(name, "rig c") {
				for _, line := range tooWide(errs.String(), f.dir) {
					if !strings.HasPrefix(line, "makebreak: ") {
						t.Errorf("%s, on standard error: %q", name, line)
					}
				}
			}
		}
	}
	if n < 20_000 {
		t.Errorf("all commands together wrote %d bytes only", n)
	}
}

// exampleWords splits a command as a shell does, as far as examples go: blanks, double quotes,
// and a comment.
func exampleWords(line string) (words []string) {
	word, quoted, begun := "", false, false
	for _, r := range line + " " {
		switch {
		case r == '"':
			quoted, begun = !quoted, true
		case r == ' ' && !quoted:
			if begun {
				words = append(words, word)
			}
			word, begun = "", false
		case r == '#' && !begun:
			return words
		default:
			word, begun = word+string(r), true
		}
	}
	return words
}

// Each example of a command's help is a command that there is, with flags and words that it
// takes.
func TestExamples(t *testing.T) {
	n := 0
	eachCommand(func(c *cobra.Command) {
		if strings.Contains(c.CommandPath(), "completion") {
			return
		}
		for line := range strings.Lines(c.Long + "\n" + c.Example) {
			if !strings.HasPrefix(line, "  ") {
				continue // a sentence
			}
			line = strings.TrimPrefix(strings.TrimSpace(line), "sudo ")
			if !strings.HasPrefix(line, "makebreak ") {
				continue
			}
			n++
			root := (&app{ctx: t.Context()}).root()
			found, rest, err := root.Find(exampleWords(line)[1:])
			if err != nil || found == root {
				t.Errorf("%s: %v", line, err)
				continue
			}
			if err := found.ParseFlags(rest); err != nil {
				t.Errorf("%s: %v", line, err)
				continue
			}
			if err := found.ValidateArgs(found.Flags().Args()); err != nil {
				t.Errorf("%s: %v", line, err)
			}
		}
	})
	if n < 40 {
		t.Errorf("only %d examples", n)
	}
}

// unbroken is a text in one line, with one blank between words.
func unbroken(text string) string { return strings.Join(strings.Fields(text), " ") }
