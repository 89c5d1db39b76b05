package cause

import "fmt"

// Facts lists what is unusual of a run, or unknown to be usual.
func Facts(e *Evidence) (all []string) {
	for _, f := range factsOf(e).all {
		if f.value != usual {
			all = append(all, fmt.Sprintf("%s@%s=%s", f.kind.name, f.signal, f.value))
		}
	}
	return all
}
