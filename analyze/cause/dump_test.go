package cause_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"makebreak/rig/sim"
)

func TestDump(t *testing.T) {
	if os.Getenv("DUMP") == "" {
		t.Skip()
	}
	for _, f := range strings.Fields(os.Getenv("DUMP")) {
		s := &shop{job: "armed-high", cycles: 4, seed: 11}
		if j := os.Getenv("JOB"); j != "" {
			s.job = j
		}
		var faults []sim.Fault
		if f != "none" {
			x, err := sim.ParseFault(f)
			if err != nil {
				t.Fatal(err)
			}
			faults = append(faults, x)
		}
		r, ok := s.run(t, faults...)
		fmt.Println("=====", f, ok, r.verdict, r.err, r.counts)
		n := map[string]int{}
		var order []string
		for _, x := range r.symptoms {
			k := fmt.Sprintf("%s %s %s %s", x.Kind, x.Signal, x.Other, x.Event)
			if n[k] == 0 {
				order = append(order, k+fmt.Sprintf(" v=%.4g l=%.4g", x.Value, x.Limit))
			}
			n[k]++
		}
		for _, k := range order {
			fmt.Println("   ", k)
		}
		for _, m := range r.figures {
			if m.Cycle == 2 && (m.Signal == "OUT3" || m.Signal[0] == 'K' || m.Signal == "COIL") {
				fmt.Printf("      %s %s %s %.5g %s %v\n", m.Event, m.Signal, m.Quantity, m.Value, m.Verdict, m.Doubts)
			}
		}
	}
}
