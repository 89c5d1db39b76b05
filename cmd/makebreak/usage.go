package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// flagError says in plain words what is wrong with a flag, and which flags there are.
func flagError(c *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var lone *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown):
		name, names, list := "--"+words.Short(unknown.GetSpecifiedName(), words.MostName), flagNames(c), "its flags: "
		if unknown.GetSpecifiedShortnames() != "" {
			name = "-" + words.Short(unknown.GetSpecifiedName(), words.MostName)
		} else if guess := words.Guess(name, names); guess != "" {
			list = "did you mean " + guess + "? Its flags: "
		}
		err = fmt.Errorf("%s has no flag %s; %s%s", c.CommandPath(), name, list, strings.Join(names, ", "))
	case errors.As(err, &lone):
		err = fmt.Errorf("%s needs a %s after it", flagName(lone.GetFlag()), valueWord(lone.GetFlag()))
	case errors.As(err, &invalid):
		err = fmt.Errorf("%s %q: %s", flagName(invalid.GetFlag()), words.Short(invalid.GetValue(), words.MostName), rule(invalid.GetFlag()))
	}
	return problem.Of(problem.Usage, err)
}

// flagNames lists a command's flags, its own first.
func flagNames(c *cobra.Command) []string {
	var names []string
	add := func(f *pflag.Flag) {
		if !f.Hidden {
			names = append(names, flagName(f))
		}
	}
	c.LocalNonPersistentFlags().VisitAll(add)
	c.InheritedFlags().VisitAll(add)
	c.PersistentFlags().VisitAll(add)
	return names
}

// flagName is a flag as it is typed: -o, which has a longer name, and --cycles.
func flagName(f *pflag.Flag) string {
	if f.Shorthand == "o" {
		return "-o"
	}
	return "--" + f.Name
}

func valueWord(f *pflag.Flag) string {
	word, _ := pflag.UnquoteUsage(f)
	if word == "string" || word == "" {
		return "word"
	}
	return word
}

// ruled is a flag's value that says itself what it must be.
type ruled interface{ rule() string }

// rule says what a flag's value must be, by its type.
func rule(f *pflag.Flag) string {
	if v, ok := f.Value.(ruled); ok {
		return v.rule()
	}
	switch t := f.Value.Type(); {
	case t == "bool":
		return "must be true or false, or left out"
	case strings.HasPrefix(t, "uint"):
		return "must be a whole number, 0 or more"
	case strings.HasPrefix(t, "int"):
		return "must be a whole number"
	case strings.HasPrefix(t, "float"):
		return "must be a number"
	case t == "duration":
		return "must be a time, for example 1.5s"
	}
	return "must be a " + valueWord(f)
}

// noSuchCommand refuses words after a command that only holds others.
func noSuchCommand(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() {
			names = append(names, sub.Name())
		}
	}
	if len(names) == 0 {
		return badUsage("%s has no commands below it; leave %q out", c.CommandPath(), args[0])
	}
	return badUsage("%s has no command %q; %s", c.CommandPath(), args[0], words.UseOneOf(args[0], names))
}

// helpCommand shows a command's help and, unlike the library's own, refuses a
// command that is not there.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Show what a command does and its flags",
		RunE: func(_ *cobra.Command, args []string) error {
			c, rest, err := root.Find(args)
			if err != nil {
				return problem.Of(problem.Usage, err)
			}
			if err := noSuchCommand(c, rest); err != nil {
				return err
			}
			c.InitDefaultHelpFlag()
			return c.Help()
		},
	}
}

// help is what --help does: it shows a command's help, but refuses a command that is not
// there as the command itself would.
func (a *app) help(c *cobra.Command) {
	if words := c.Flags().Args(); c.HasSubCommands() && len(words) > 0 && c.Args != nil {
		if a.noHelp = c.Args(c, words); a.noHelp != nil {
			return
		}
	}
	for name, about := range map[string]string{"help": "show this help", "version": "show the program's version"} {
		if f := c.Flags().Lookup(name); f != nil {
			f.Usage = about
		}
	}
	fmt.Fprint(c.OutOrStdout(), helpOf(c, columnsOf(a.out)))
}

// allForms are the forms that results can have.
var allForms = []string{"text", "csv", "json", "html", "pdf"}

// formsKey is where a command's flag --as keeps the forms that the command has.
const formsKey = "makebreak_forms"

// forms says which forms a command's results have. Its help offers --as where there is a
// choice.
func (a *app) forms(c *cobra.Command, may ...string) {
	f := c.Flags()
	f.StringVar(&a.as, "as", "text", "`form` of the results: "+words.Or(may))
	as := f.Lookup("as")
	as.Annotations = map[string][]string{formsKey: may}
	as.Hidden = len(may) == 1
}

// checkForm refuses a form that the command called does not have.
func (a *app) checkForm(c *cobra.Command) error {
	a.asked = c.Flags().Changed("as")
	may := c.Flags().Lookup("as").Annotations[formsKey]
	if may == nil {
		may = allForms // a command that only holds others
	}
	return a.choice(strings.TrimPrefix(c.CommandPath(), "makebreak "), may...)
}

// choice refuses a form of results that is not among those there may be.
func (a *app) choice(what string, may ...string) error {
	if slices.Contains(may, a.as) {
		return nil
	}
	return badUsage("%s --as %q: %s", what, a.as, words.UseOneOf(a.as, may))
}
