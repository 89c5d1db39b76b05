package cause_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"

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

// TestTuning ranks the causes of drawn benches with one fault each and prints the confusion.
func TestTuning(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("TUNE"))
	if n == 0 {
		t.Skip()
	}
	seed, _ := strconv.ParseUint(os.Getenv("SEED"), 10, 64)
	var names []string
	infos := map[string]sim.FaultInfo{}
	for _, f := range sim.Faults() {
		names, infos[f.Name] = append(names, f.Name), f
	}
	if only := os.Getenv("ONLY"); only != "" {
		names = strings.Fields(only)
	}
	type result struct {
		name       string
		first, top bool
		got        string
	}
	var mu sync.Mutex
	var results []result
	silent, claimed := map[string]int{}, map[string]int{}
	total, first, third := map[string]int{}, map[string]int{}, map[string]int{}
	confused := map[string]int{}
	detail := []string{}
	work := func(i int) {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		name := names[i%len(names)]
		var s *shop
		var x ran
		var f sim.Fault
		for {
			if s = drawShop(r); name == "supply-reset" {
				s = &shop{job: "relay-supply", cycles: 1 + r.IntN(2), seed: r.Uint64N(1 << 40), relays: map[string]string{"COIL": "K1"}, outputs: []string{"COIL"}}
			}
			f = drawFault(r, s, infos[name])
			var ok bool
			if x, ok = s.run(t, f); ok {
				break
			}
		}
		all := cause.Rank(cause.Builtin(), x.evidence())
		mu.Lock()
		defer mu.Unlock()
		if len(all) == 0 && x.verdict != "fail" {
			silent[name]++
			return
		}
		total[name]++
		got := "nothing"
		if len(all) > 0 {
			got = all[0].Cause
		}
		at := slices.IndexFunc(all, func(c cause.Ranked) bool { return c.Cause == name && (c.Place == f.Place || c.Place == "") })
		if at == 0 {
			first[name]++
		} else {
			confused[name+" -> "+got]++
			detail = append(detail, fmt.Sprintf("%s i=%d %s verdict=%s got=%v facts=%v\n   %s", name, i, f, x.verdict, short(all), cause.Facts(x.evidence()), kinds(x)))
		}
		if at >= 0 && at < 3 {
			third[name]++
		}
		_ = results
		_ = claimed
	}
	var wg sync.WaitGroup
	for g := range 2 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := g; i < n; i += 2 {
				work(i)
			}
		}()
	}
	wg.Wait()
	a, b, c := 0, 0, 0
	for _, name := range names {
		fmt.Printf("%-20s shown %4d first %4d third %4d silent %d\n", name, total[name], first[name], third[name], silent[name])
		a, b, c = a+total[name], b+first[name], c+third[name]
	}
	fmt.Printf("all %d first %.2f%% third %.2f%%\n", a, 100*float64(b)/float64(a), 100*float64(c)/float64(a))
	var keys []string
	for k := range confused {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool { return confused[keys[i]] > confused[keys[j]] })
	for _, k := range keys {
		fmt.Println(confused[k], k)
	}
	if os.Getenv("DETAIL") != "" {
		sort.Strings(detail)
		for _, d := range detail {
			fmt.Println(d)
		}
	}
}

// TestTuningHealthy counts drawn benches without a fault that are claimed to have one.
func TestTuningHealthy(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("HEALTHY"))
	if n == 0 {
		t.Skip()
	}
	failed, claimed := 0, 0
	for i := range n {
		r := rand.New(rand.NewPCG(77, uint64(i)))
		s := drawShop(r)
		x, _ := s.run(t)
		all := cause.Rank(cause.Builtin(), x.evidence())
		if x.verdict == "fail" {
			failed++
		}
		if len(all) > 0 {
			claimed++
		}
		if x.verdict == "fail" || len(all) > 0 {
			fmt.Println(i, x.verdict, short(all), kinds(x))
		}
	}
	fmt.Println("healthy", n, "failed", failed, "claimed", claimed)
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
