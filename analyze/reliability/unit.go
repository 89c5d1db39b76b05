package reliability

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Unit is one board of a life test.
type Unit struct {
	Name   string
	Cycles float64 // at its failure, or when it was stopped
	Failed bool
	// Load is what it switched, in words, as in "24 V 2 A resistive". Boards of different
	// loads wear differently and don't belong in one fit.
	Load string
}

var errNoUnits = errors.New("no boards")

func checkUnits(units []Unit) error {
	if len(units) == 0 {
		return errNoUnits
	}
	for i, u := range units {
		if err := positive("cycles", u.Cycles); err != nil {
			name := u.Name
			if name == "" {
				name = fmt.Sprint(i + 1)
			}
			return fmt.Errorf("board %s: %w", name, err)
		}
	}
	return nil
}

// doubtLoads doubts boards of more than one load.
func doubtLoads(units []Unit) []string {
	var loads []string
	for _, u := range units {
		load := u.Load
		if load == "" {
			load = "not stated"
		}
		if !slices.Contains(loads, load) {
			loads = append(loads, load)
		}
	}
	if len(loads) < 2 {
		return nil
	}
	slices.Sort(loads)
	return []string{"boards ran at different loads (" + strings.Join(loads, ", ") + "); cycles at one say little about another: judge each load alone"}
}
