package main

import (
	"bytes"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/sequences/service"
)

// The manual's pages are made of the commands, so that they say what --help says. The texts are
// no Markdown, of which there are libraries that make manual pages.

// manualPages are the pages of all commands, as files of an installation.
func manualPages(root *cobra.Command) []service.Extra {
	var all []service.Extra
	var add func(c *cobra.Command)
	add = func(c *cobra.Command) {
		if !documented(c) {
			return
		}
		all = append(all, service.Extra{Path: service.ManualPage(pageName(c)), Kind: "a page of the manual", Content: func() ([]byte, error) { return manualPage(c), nil }})
		for _, sub := range c.Commands() {
			add(sub)
		}
	}
	add(root)
	return all
}

// documented reports whether a command has a page of the manual.
func documented(c *cobra.Command) bool {
	return !c.HasParent() || c.IsAvailableCommand() && !slices.Contains([]string{"help", "completion"}, c.Name())
}

// pageName is a command's name in the manual, as in makebreak-rig-check.
func pageName(c *cobra.Command) string { return strings.ReplaceAll(c.CommandPath(), " ", "-") }

// manualPage is a command's page of section 1, in the macros of man(7).
func manualPage(c *cobra.Command) []byte {
	m := &manual{}
	m.line(".TH " + quoted(strings.ToUpper(pageName(c))) + " 1 \"" + builtOn() + "\" " + quoted("makebreak "+version()) + ` "Makebreak"`)
	m.heading("NAME")
	m.line(roff(pageName(c)) + ` \- ` + roff(c.Short))
	m.heading("SYNOPSIS")
	for i, line := range usageLines(c) {
		if i > 0 {
			m.line(".br")
		}
		m.line(".B " + roff(line+map[bool]string{true: " [flags]"}[!strings.HasSuffix(line, " COMMAND")]))
	}
	about := c.Long
	if about == "" {
		about = c.Short + "."
	}
	m.heading("DESCRIPTION")
	m.text(about)
	if c.Example != "" {
		m.heading("EXAMPLES")
		m.asIs(strings.Split(strings.Trim(exampleLines(c.Example, usualColumns-8), "\n"), "\n"))
	}
	m.list("COMMANDS", commandsBelow(c))
	m.list("FLAGS", flagsOf(c.LocalFlags()))
	m.list("FLAGS THAT ALL COMMANDS HAVE", flagsOf(c.InheritedFlags()))
	m.heading("SEE ALSO")
	m.line(seeAlso(c))
	return m.out.Bytes()
}

// seeAlso names the pages of the command above and of those below.
func seeAlso(c *cobra.Command) string {
	var pages []string
	if c.HasParent() {
		pages = append(pages, pageName(c.Parent()))
	}
	for _, sub := range c.Commands() {
		if documented(sub) {
			pages = append(pages, pageName(sub))
		}
	}
	for i, p := range pages {
		pages[i] = `\fB` + roff(p) + `\fR(1)`
	}
	return strings.Join(pages, ",\n")
}

// builtOn is the day of the program's code, or, where that is not known, of its file.
func builtOn() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if t, err := time.Parse(time.RFC3339, s.Value); s.Key == "vcs.time" && err == nil {
				return t.UTC().Format(time.DateOnly)
			}
		}
	}
	if path, err := os.Executable(); err == nil {
		if info, err := os.Stat(path); err == nil {
			return info.ModTime().UTC().Format(time.DateOnly)
		}
	}
	return ""
}

// manual writes a page.
type manual struct {
	out    bytes.Buffer
	headed bool // the last line is a heading, after which a paragraph begins by itself
}

func (m *manual) line(s string) {
	m.out.WriteString(s + "\n")
	m.headed = false
}

func (m *manual) heading(s string) {
	m.line(".SH " + quoted(s))
	m.headed = true
}

// text writes paragraphs, items of lists, and lines that are indented as they are.
func (m *manual) text(s string) {
	var as []string // lines that stay as they are
	flush := func() {
		if len(as) > 0 {
			m.asIs(as)
			as = nil
		}
	}
	begins := false // a paragraph, after an empty line
	for line := range strings.SplitSeq(paragraphs(s, 1<<20), "\n") {
		item, isItem := strings.CutPrefix(line, "  - ")
		switch {
		case line == "":
			flush()
			begins = true
			continue
		case isItem:
			m.line(`.IP \(bu 2`)
			m.line(roff(item))
		case strings.HasPrefix(line, " "):
			as = append(as, strings.TrimSpace(line))
		default:
			if begins {
				m.line(".PP")
			}
			m.line(roff(line))
		}
		begins = false
	}
	flush()
}

// asIs writes lines that are not filled.
func (m *manual) asIs(lines []string) {
	if !m.headed {
		m.line(".PP")
	}
	m.line(".RS 4")
	m.line(".nf")
	for _, line := range lines {
		m.line(roff(strings.TrimPrefix(line, "  ")))
	}
	m.line(".fi")
	m.line(".RE")
}

// list writes names with what is said of them.
func (m *manual) list(heading string, all []described) {
	if len(all) == 0 {
		return
	}
	m.heading(heading)
	for _, d := range all {
		m.line(".TP")
		m.line(`\fB` + roff(d.name) + `\fR`)
		m.line(roff(d.text))
	}
}

// quoted is an argument of a macro.
func quoted(s string) string { return `"` + strings.ReplaceAll(roff(s), `"`, `\(dq`) + `"` }

// roff is a text in which nothing is taken for a request or an escape.
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`, "~", `\(ti`, "^", `\(ha`, "`", `\(ga`).Replace(s)
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		s = `\&` + s
	}
	return s
}
