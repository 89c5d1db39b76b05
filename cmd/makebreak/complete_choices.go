package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"makebreak/rig/words"
)

// choices are words of which some begin with what was typed, each with what it means. Words
// that a shell might take for more than a word are left out: a name from a log or a file may
// hold anything.
type choices struct {
	typed string
	all   []string
}

// add adds a word where what was typed begins it.
func (x *choices) add(word, about string) {
	if word == "" || !strings.HasPrefix(word, x.typed) || !harmless(word) {
		return
	}
	if about = strings.Join(strings.Fields(words.Safe(about)), " "); about != "" {
		word += "\t" + words.Short(about, 60)
	}
	if !slices.Contains(x.all, word) {
		x.all = append(x.all, word)
	}
}

// harmless reports whether a word means no more than itself to any shell: it consists of
// letters, digits, single blanks within it, and of signs that no shell acts on.
func harmless(word string) bool {
	for _, r := range word {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("-_.,:=+@%/ ", r) {
			return false
		}
	}
	return words.Safe(word) == word && strings.TrimSpace(word) == word && !strings.HasPrefix(word, "-") && !strings.Contains(word, "  ")
}

// mostFiles is how many entries of a folder are looked at.
const mostFiles = 2000

// addFiles adds the files of a kind, and folders, that the typed path can go on to.
func (x *choices) addFiles(endings []string) cobra.ShellCompDirective {
	dir, _ := filepath.Split(x.typed)
	read := dir
	if read == "" {
		read = "."
	}
	f, err := os.Open(read)
	if err != nil {
		return cobra.ShellCompDirectiveNoFileComp
	}
	defer f.Close()
	entries, _ := f.ReadDir(mostFiles) // what could be read
	slices.SortFunc(entries, func(a, b os.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	files := len(x.all)
	for _, e := range entries {
		hidden := strings.HasPrefix(e.Name(), ".") && !strings.HasPrefix(filepath.Base("x"+x.typed), "x.")
		if !hidden && !e.IsDir() && slices.Contains(endings, strings.ToLower(filepath.Ext(e.Name()))) {
			x.add(dir+e.Name(), "")
		}
	}
	files = len(x.all) - files
	folders := 0
	for _, e := range entries {
		if e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
			before := len(x.all)
			x.add(dir+e.Name()+"/", "")
			folders += len(x.all) - before
		}
	}
	if folders == 1 && len(x.all) == 1 {
		return cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
	}
	return cobra.ShellCompDirectiveNoFileComp
}

// files completes files with these endings; without any, all files, as the shell does it.
func (a *app) files(endings []string) completer {
	if len(endings) == 0 {
		return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveDefault
		}
	}
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		x := choices{typed: typed}
		directive := x.addFiles(endings)
		return x.all, directive
	}
}

// resultFiles completes files for results of the form asked for.
func (a *app) resultFiles(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	return a.files(formEndings[a.as])(c, args, typed)
}
