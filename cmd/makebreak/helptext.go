package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/rig/table"
)

// helpOf is what --help shows of a command, in lines of so many columns.
func helpOf(c *cobra.Command, columns int) string {
	var b strings.Builder
	about := c.Long
	if about == "" {
		about = c.Short + "."
	}
	b.WriteString(paragraphs(about, columns) + "\n")
	part := func(heading, text string) {
		if text != "" {
			b.WriteString("\n" + heading + "\n" + text)
		}
	}
	part("Usage", indented(usageLines(c)))
	part("Examples", exampleLines(c.Example, columns))
	part("Commands", list(commandsBelow(c), columns))
	part("Flags", list(flagsOf(c.LocalFlags()), columns))
	part("Flags that all commands have", list(flagsOf(c.InheritedFlags()), columns))
	if c.HasAvailableSubCommands() {
		b.WriteString("\n" + c.CommandPath() + " COMMAND --help says more of a command.\n")
	}
	return b.String()
}

// usageLines are the ways to call a command: by itself, and with a command below it.
func usageLines(c *cobra.Command) []string {
	var lines []string
	if !c.HasAvailableSubCommands() || hasWork(c) {
		lines = append(lines, c.CommandPath()+strings.TrimPrefix(c.Use, c.Name()))
	}
	if c.HasAvailableSubCommands() {
		lines = append(lines, c.CommandPath()+" COMMAND")
	}
	return lines
}

// hasWork reports whether a command does something itself: it takes words or flags of its own.
func hasWork(c *cobra.Command) bool {
	own := c.Use != c.Name()
	c.LocalNonPersistentFlags().VisitAll(func(f *pflag.Flag) {
		own = own || !f.Hidden && f.Name != "help" && f.Name != "version"
	})
	return own
}

// exampleLines are examples, one a line. One that is too long goes on as a shell takes it.
func exampleLines(examples string, columns int) string {
	var lines []string
	for _, line := range strings.Split(strings.TrimSpace(examples), "\n") {
		line = strings.TrimSpace(line)
		for len(line) > columns-2 {
			at := breakBefore(line, columns-4)
			if at <= 0 {
				break
			}
			lines = append(lines, line[:at]+" \\")
			line = "    " + line[at+1:]
		}
		lines = append(lines, line)
	}
	var b strings.Builder
	for _, line := range lines {
		if line != "" {
			b.WriteString("  " + line + "\n")
		}
	}
	return b.String()
}

// breakBefore is where the last blank that is not quoted stands in the first most bytes of a
// command, after its first word; 0: nowhere.
func breakBefore(line string, most int) int {
	at, quoted, word := 0, false, false
	for i, c := range line[:min(most, len(line))] {
		switch {
		case c == '"':
			quoted = !quoted
		case c != ' ':
			word = true
		case word && !quoted:
			at = i
		}
	}
	return at
}

func indented(lines []string) string {
	var b strings.Builder
	for _, line := range lines {
		if line = strings.TrimSpace(line); line != "" {
			b.WriteString("  " + line + "\n")
		}
	}
	return b.String()
}

// paragraphs breaks a text into lines of so many columns. Lines of one paragraph are joined
// first, but not those that are indented: examples and items of a list.
func paragraphs(s string, columns int) string {
	var lines []string
	joins := false // the line before takes in more
	for line := range strings.SplitSeq(strings.TrimSpace(s), "\n") {
		item := strings.HasPrefix(line, "  - ")
		inItem := !item && strings.HasPrefix(line, "    ") && joins
		switch {
		case line == "":
			joins = false
			lines = append(lines, "")
			continue
		case joins && (inItem || !strings.HasPrefix(line, " ")):
			lines[len(lines)-1] += " " + strings.TrimSpace(line)
			continue
		}
		lines = append(lines, line)
		joins = item || !strings.HasPrefix(line, " ")
	}
	return table.Wrap(strings.Join(lines, "\n"), columns)
}

// described is a name and what is said of it.
type described struct{ name, text string }

// commandsBelow are the commands below one, each with what it does.
func commandsBelow(c *cobra.Command) (all []described) {
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() || sub.Name() == "help" {
			all = append(all, described{sub.Name(), sub.Short})
		}
	}
	return all
}

// flagsOf are flags, each with what it does and what it is when it is not given.
func flagsOf(flags *pflag.FlagSet) (all []described) {
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		word, text := pflag.UnquoteUsage(f)
		name := "--" + f.Name
		if f.Shorthand != "" {
			name = "-" + f.Shorthand + ", " + name
		}
		if word != "" {
			name += " " + word
		}
		all = append(all, described{name, text + defaultWords(f)})
	})
	return all
}

// defaultWords say a flag's value when it is not given, where its text does not.
func defaultWords(f *pflag.Flag) string {
	switch f.DefValue {
	case "", "false", "0", "[]", "0s":
		return ""
	}
	if strings.Contains(f.Usage, "default") {
		return ""
	}
	value := f.DefValue
	if home, err := os.UserHomeDir(); err == nil && home != "/" && strings.HasPrefix(value, home+"/") {
		value = "~" + strings.TrimPrefix(value, home)
	}
	return " (default: " + value + ")"
}

// list writes names and what is said of them side by side, or beneath where there is no room.
func list(all []described, columns int) string {
	const longest = 24
	width := 0
	for _, d := range all {
		if len(d.name) <= longest {
			width = max(width, len(d.name))
		}
	}
	var b strings.Builder
	for _, d := range all {
		name := d.name
		if len(name) > width {
			b.WriteString("  " + name + "\n")
			name = ""
		}
		text := table.Wrap(d.text, columns-width-4)
		for line := range strings.SplitSeq(text, "\n") {
			fmt.Fprintf(&b, "  %-*s  %s\n", width, name, line)
			name = ""
		}
	}
	return b.String()
}
