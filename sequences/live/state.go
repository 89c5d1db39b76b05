package live

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// A State is what is known of a run at one moment. It is not changed once it is made.
type State struct {
	Run       string          `json:"run"`
	RunID     string          `json:"run_id"`
	Unit      string          `json:"unit"`
	Position  string          `json:"position,omitempty"` // the unit's name in the rig file, of several
	Together  string          `json:"together,omitempty"` // the same in runs that are made at the same time
	By        string          `json:"by"`
	Sequence  string          `json:"sequence"`
	Rig       string          `json:"rig"`
	Program   string          `json:"program"`
	Simulated bool            `json:"simulated"`
	Faults    []string        `json:"faults,omitempty"`
	Soak      bool            `json:"soak"`
	Began     time.Time       `json:"began"`
	At        time.Time       `json:"at"` // of this state, on the wall clock
	Planned   int             `json:"planned"`
	Done      int             `json:"done"`   // whole cycles that are stored
	Counts    [4]int          `json:"counts"` // of these cycles, by the place of their verdict in analyze.Verdicts
	Stored    int             `json:"stored"` // number of the last cycle stored, whole or not; 0: none
	Verdict   analyze.Verdict `json:"verdict"`
	PerHour   Number          `json:"per_hour"` // cycles an hour, NaN: not known yet
	Left      time.Duration   `json:"left"`     // until all cycles are done; 0: not known
	Step      Step            `json:"step"`
	Seen      bool            `json:"seen"`    // the rig was looked at for this state
	SeenAt    time.Time       `json:"seen_at"` // the last time that it was; zero: never
	Lost      bool            `json:"lost"`    // that was too long ago for what is shown of it to be so now
	Outputs   []Output        `json:"outputs"`
	Lines     []Line          `json:"lines"`
	Troubles  capture.Counts  `json:"troubles"` // of the rig, since it was opened
	Cautions  []string        `json:"cautions,omitempty"`
	Said      string          `json:"said,omitempty"` // the last line for the person
	Results   *Results        `json:"results,omitempty"`
	End       *End            `json:"end,omitempty"` // nil: the run goes on
}

// A Step is where in its sequence a run is.
type Step struct {
	Cycle   int           `json:"cycle"`  // 0: before the first
	Number  int           `json:"number"` // of the step, from 1
	Of      int           `json:"of"`
	Event   string        `json:"event"`
	Waiting bool          `json:"waiting"`          // for the event; else the state after it is watched
	Person  string        `json:"person,omitempty"` // what the person at the bench is asked to do
	Hold    time.Duration `json:"hold"`             // how long the state is watched
	Since   time.Duration `json:"since"`            // the event
}

// An Output is an output's newest sample and what it means.
type Output struct {
	Name    string        `json:"name"`
	Known   bool          `json:"known"` // there has been a sample
	Fresh   bool          `json:"fresh"` // and it is of now
	Volts   Number        `json:"volts"` // volts at the unit's terminal
	Age     time.Duration `json:"age"`   // of the sample, where the rig was last looked at
	State   string        `json:"state"` // high, low, between, or empty
	Should  string        `json:"should,omitempty"`
	Against bool          `json:"against"` // the state is not the one that is expected by now
}

// A Line is the state of a contact, a reference or a drive.
type Line struct {
	Name  string        `json:"name"`
	Role  string        `json:"role"`
	Known bool          `json:"known"`
	On    bool          `json:"on"`    // closed, or active
	State string        `json:"state"` // in words
	For   time.Duration `json:"for"`
	Lost  int           `json:"lost"` // edges known to be lost, in the cycle under way
}

// Results are what the cycles stored so far have shown.
type Results struct {
	Number    int               `json:"number"` // rises with each change
	Cycle     int               `json:"cycle"`  // the last one that they hold
	Findings  []analyze.Finding `json:"findings"`
	Figures   []Figure          `json:"figures"`
	Behaviour *Behaviour        `json:"behaviour"`
	Courses   []Course          `json:"courses,omitempty"` // of a soak
	Last      *Shown            `json:"last,omitempty"`    // nil: no capture is at hand
}

// Behaviour is what each output had to do at each event and what it did, in words.
type Behaviour struct {
	Events  []string `json:"events"`
	Outputs []Did    `json:"outputs"`
}

// Did is one output's or relay's part of it.
type Did struct {
	Output string `json:"output"` // or relay
	Named  bool   `json:"named"`  // the sequence names it
	Cells  []Deed `json:"cells"`  // one an event
}

// A Deed is what an output or a relay had to do at an event and what it did.
type Deed struct {
	Expected string          `json:"expected"`
	Seen     string          `json:"seen"`
	Verdict  analyze.Verdict `json:"verdict"`
}

// Shown is a cycle with its capture.
type Shown struct {
	Cycle   int      `json:"cycle"`
	Capture []byte   `json:"capture"` // package capture's binary form, around events
	Figures []Figure `json:"figures"`
}

// A Figure is one quantity of one signal at one event: its newest value, and how the cycles so
// far were judged by it.
type Figure struct {
	Event    string           `json:"event"`
	Signal   string           `json:"signal"`
	Quantity analyze.Quantity `json:"quantity"`
	Value    Number           `json:"value"`    // in the quantity's base unit; NaN: not measured
	Expanded Number           `json:"expanded"` // at 95 %, in the same unit
	Lower    Number           `json:"lower"`    // limit, in the same unit; NaN: none
	Upper    Number           `json:"upper"`    // limit, in the same unit; NaN: none
	Bound    analyze.Bound    `json:"bound,omitempty"`
	Verdict  analyze.Verdict  `json:"verdict"`
	N        int              `json:"n"`        // values so far
	Verdicts [4]int           `json:"verdicts"` // so far, by place in analyze.Verdicts
}

// Limit is the figure's limit.
func (f *Figure) Limit() analyze.Limit {
	return analyze.Limit{Lower: float64(f.Lower), Upper: float64(f.Upper)}
}

// An End is how a run ended.
type End struct {
	At       time.Time       `json:"at"`
	Verdict  analyze.Verdict `json:"verdict"` // the run's, incomplete where it is
	Complete bool            `json:"complete"`
	Reason   string          `json:"reason,omitempty"`
}

// A Number is a float64 that JSON can hold: NaN is null, infinities are the lowest and
// highest finite numbers. Its unit is its field's.
type Number float64

// MarshalJSON implements json.Marshaler.
func (n Number) MarshalJSON() ([]byte, error) {
	x := float64(n)
	if math.IsNaN(x) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, max(-math.MaxFloat64, min(math.MaxFloat64, x)), 'g', -1, 64), nil
}

// UnmarshalJSON implements json.Unmarshaler.
func (n *Number) UnmarshalJSON(text []byte) error {
	*n = Number(math.NaN())
	if string(text) == "null" {
		return nil
	}
	return json.Unmarshal(text, (*float64)(n))
}
