package main

import (
	"io"

	"github.com/spf13/cobra"

	"makebreak/rig/licences"
	"makebreak/rig/table"
)

func (a *app) licencesCommand() *cobra.Command {
	var texts bool
	c := &cobra.Command{
		Use:   "licences",
		Short: "List all that is linked into the program, with its licences",
		Long: `List all that is linked into the program: each module with its version and its
licence. --texts writes the licences themselves and the notices that go with them. Who
hands the program on must hand these on, too.`,
		Example: `  makebreak licences
  makebreak licences --texts -o copyright`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			all, err := licences.Linked()
			if err != nil {
				return err
			}
			if texts {
				return a.deliver(all.WriteTexts)
			}
			return a.print(func(w io.Writer) error {
				return table.Write(w, []string{"part", "version", "licence"}, func(row func(...any)) {
					for _, p := range all.Here() {
						row(p.Name, p.Version, p.Licence)
					}
				})
			})
		},
	}
	a.forms(c, "text")
	c.Flags().BoolVar(&texts, "texts", false, "write the texts of the licences and the notices")
	return c
}
