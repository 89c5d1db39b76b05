package commission

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// writeUnits writes what belongs to which unit, where a rig has several.
func writeUnits(w io.Writer, rig *wiring.Rig) {
	if len(rig.Units) == 0 {
		return
	}
	fmt.Fprintln(w)
	for _, u := range rig.Units {
		all := slices.Concat(u.Outputs, u.Contacts, u.References, u.Drives)
		named := words.Texts(all, func(c wiring.Channel) string { return c.As + " is " + c.Own })
		fmt.Fprintf(w, "Unit %s: %s\n", u.Name, strings.Join(named, ", "))
	}
	if len(rig.Shared) > 0 {
		fmt.Fprintf(w, "All units: %s\n", strings.Join(rig.Shared, ", "))
	}
}
