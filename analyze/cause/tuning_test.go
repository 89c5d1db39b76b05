package cause_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/cause"
	"makebreak/rig/sim"
)

// evidence is what the run showed, as a record gathers it.
func (r *ran) evidence() *cause.Evidence {
	e := cause.New(r.plan)
	e.Cycles, e.Counts, e.Complete = r.cycles, r.counts, r.err == nil
	for _, s := range r.symptoms {
		e.Symptom(s)
	}
	for i := range r.figures {
		e.Figure(&r.figures[i])
	}
	return e
}

// drawFault draws a fault of a kind with a size and a place: some smaller and some larger than
// what the simulated bench says that one meets.
func drawFault(r *rand.Rand, s *shop, info sim.FaultInfo) sim.Fault {
	f := sim.Fault{Name: info.Name}
	if info.Value.Measured() {
		f.Value = math.Exp(around(r, math.Log(info.Lowest*0.95), math.Log(info.Highest*1.05)))
		if info.Value == sim.WholeNumber {
			f.Value = math.Max(2, math.Round(f.Value))
		}
	}
	var relays []string
	for _, o := range s.outputs {
		if k := s.relays[o]; k != "" {
			relays = append(relays, k)
		}
	}
	switch {
	case info.Place == sim.AtOutput:
		f.Place = pick(r, s.outputs...)
	case info.Place == sim.AtRelay && len(relays) > 0:
		f.Place = pick(r, relays...)
	}
	return f
}

// count is how benches with one kind of fault were ranked.
type count struct {
	shown, first, third, silent int
	got                         map[string]int // by what came first
}

// TestRank_Drawn ranks the causes of drawn benches with one fault each and counts where the
// true one comes. CAUSE_BENCHES says how many, CAUSE_SEED which.
func TestRank_Drawn(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("in short mode")
	}
	n, err := strconv.Atoi(os.Getenv("CAUSE_BENCHES"))
	if err != nil {
		n = 2 * len(sim.Faults())
	}
	seed, _ := strconv.ParseUint(os.Getenv("CAUSE_SEED"), 10, 64)
	counts := map[string]*count{}
	for i := range n {
		info := sim.Faults()[i%len(sim.Faults())]
		c := counts[info.Name]
		if c == nil {
			c = &count{got: map[string]int{}}
			counts[info.Name] = c
		}
		rankDrawn(t, rand.New(rand.NewPCG(seed, uint64(i))), info, c)
	}
	var all count
	for _, f := range sim.Faults() {
		if c := counts[f.Name]; c != nil {
			t.Logf("%-20s shown %3d, first %3d, among three %3d, too small %3d; first were %v", f.Name, c.shown, c.first, c.third, c.silent, c.got)
			all.shown, all.first, all.third = all.shown+c.shown, all.first+c.first, all.third+c.third
		}
	}
	first, third := float64(all.first)/float64(all.shown), float64(all.third)/float64(all.shown)
	t.Logf("%d shown: first %.1f %%, among three %.1f %%", all.shown, 100*first, 100*third)
	if first < 0.88 || third < 0.94 {
		t.Error("the true cause is found too seldom")
	}
}

// rankDrawn ranks the causes of one drawn bench.
func rankDrawn(t *testing.T, r *rand.Rand, info sim.FaultInfo, c *count) {
	var x ran
	var f sim.Fault
	for possible := false; !possible; {
		s := drawShop(r)
		if info.Name == "supply-reset" {
			s = &shop{job: "relay-supply", cycles: 1 + r.IntN(2), seed: r.Uint64N(1 << 40), relays: map[string]string{"COIL": "K1"}, outputs: []string{"COIL"}}
		}
		f = drawFault(r, s, info)
		x, possible = s.run(t, f)
	}
	all := cause.Rank(cause.Builtin(), x.evidence())
	if len(all) == 0 && x.verdict != analyze.Fail {
		c.silent++
		return
	}
	c.shown++
	got := "nothing"
	if len(all) > 0 {
		got = all[0].Cause
	}
	c.got[got]++
	at := slices.IndexFunc(all, func(k cause.Ranked) bool { return k.Cause == info.Name && (k.Place == f.Place || k.Place == "") })
	if at == 0 {
		c.first++
	}
	if at >= 0 && at < 3 {
		c.third++
	}
}

func short(all []cause.Ranked) string {
	var parts []string
	for _, c := range all {
		parts = append(parts, fmt.Sprintf("%s@%s:%.2f", c.Cause, c.Place, c.Share))
	}
	return strings.Join(parts, " ")
}

// kinds lists the symptoms by kind.
func kinds(x ran) string {
	n := map[string]int{}
	var order []string
	for _, s := range x.symptoms {
		k := fmt.Sprintf("%s %s %s %s", s.Kind, s.Signal, s.Other, s.Event)
		if n[k] == 0 {
			order = append(order, k)
		}
		n[k]++
	}
	for i, k := range order {
		order[i] = fmt.Sprintf("%s x%d", k, n[k])
	}
	return fmt.Sprint(strings.Join(order, "; "), " ", x.counts, " cycles ", x.cycles)
}
