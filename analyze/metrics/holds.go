package metrics

import (
	"slices"
	"time"

	"makebreak/analyze"
)

// LogRun is a run in a log.
type LogRun struct {
	Unit      string // empty: not named
	Sequence  string
	Started   time.Time
	Verdict   analyze.Verdict // by analyze.RunVerdict
	Simulated bool            // on the simulated bench
	Running   bool            // a program is at it now
}

// LogHolds is what a log holds, counted. The counts are of runs; of units that have a name.
type LogHolds struct {
	// Runs counts runs.
	Runs map[LogKind]Tallied
	// Units counts units by their first run of the sequence that was neither cut off nor is still
	// going on: the share of pass is the first-pass yield.
	Units map[LogKind]Tallied
	// Days counts units by their last such run of a day, for the last days.
	Days map[LogDay]Tallied
	// LastRun is when the newest run began; zero: there is none.
	LastRun time.Time
	// Now are the runs that go on, the newest last. CountLog leaves it empty.
	Now []LogNow
	// Size is the log's size, Free what is left on its disk, both in bytes; negative: not known.
	Size, Free int64
}

// LogNow is a run in a log that a program is at now.
type LogNow struct {
	Run, Unit, Sequence string
	Simulated           bool
	Cycles, Planned     int // done from start to end, and to be done; Planned 0: no number was set
}

// LogKind is what runs are counted by.
type LogKind struct {
	Sequence  string
	Simulated bool
}

// LogDay is a kind of run on a day, as in 2026-03-31.
type LogDay struct {
	Day string
	LogKind
}

// Tallied counts by verdict, as its label says it.
type Tallied map[string]int

// The most series that a log's counts make.
const (
	// mostSequences is how many sequences are counted by their names: those that ran last.
	mostSequences = 50
	// mostRuns is how many runs that are going on are told of: the newest.
	mostRuns = 16
	// mostDays is how many days are counted, up to the present one.
	mostDays = 14
)

// otherSequences is the name under which older sequences are counted together.
const otherSequences = "(others)"

// CountLog counts a log's runs that do not go on. Days are of now's time zone, up to now's. Size
// and Free are left unknown.
func CountLog(runs []LogRun, now time.Time) LogHolds {
	h := LogHolds{Runs: map[LogKind]Tallied{}, Units: map[LogKind]Tallied{}, Days: map[LogDay]Tallied{}, Size: -1, Free: -1}
	runs = slices.Clone(runs)
	slices.SortStableFunc(runs, func(a, b LogRun) int { return a.Started.Compare(b.Started) })
	named := newest(runs)
	first := map[unitRun]bool{}
	last := map[unitRun]map[string]analyze.Verdict{} // by day
	oldest := now.AddDate(0, 0, 1-mostDays).Format(time.DateOnly)
	today := now.Format(time.DateOnly)
	for _, r := range runs {
		kind := LogKind{label(r.Sequence), r.Simulated}
		if !named[r.Sequence] {
			kind.Sequence = otherSequences
		}
		h.LastRun = r.Started
		if r.Running {
			continue
		}
		count(h.Runs, kind, r.Verdict)
		if r.Unit == "" || r.Verdict == analyze.Incomplete {
			continue
		}
		u := unitRun{r.Unit, r.Sequence, kind}
		if !first[u] {
			first[u] = true
			count(h.Units, kind, r.Verdict)
		}
		if day := r.Started.In(now.Location()).Format(time.DateOnly); day >= oldest && day <= today {
			if last[u] == nil {
				last[u] = map[string]analyze.Verdict{}
			}
			last[u][day] = r.Verdict
		}
	}
	for u, days := range last {
		for day, v := range days {
			count(h.Days, LogDay{day, u.kind}, v)
		}
	}
	return h
}

// unitRun is a unit in a sequence.
type unitRun struct {
	unit, sequence string
	kind           LogKind
}

// newest returns the sequences that ran last, of runs in the order in which they began.
func newest(runs []LogRun) map[string]bool {
	names := map[string]bool{}
	for _, r := range slices.Backward(runs) {
		if len(names) == mostSequences {
			break
		}
		names[r.Sequence] = true
	}
	return names
}

func count[K comparable](into map[K]Tallied, key K, v analyze.Verdict) {
	if into[key] == nil {
		into[key] = Tallied{}
	}
	into[key][verdictLabel(v)]++
}
