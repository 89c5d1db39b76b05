package survey

import (
	_ "embed"
	"io"
	"math"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/look"
	"makebreak/analyze/report"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// What the tolerance intervals in the forms hold.
const (
	usualCoverage   = 0.95
	usualConfidence = 0.95
)

// number is a cell of a figure; empty where it is missing.
func number(v float64) table.Cell {
	if !finite(v) {
		return table.Cell{}
	}
	return table.Number(strconv.FormatFloat(v, 'g', 9, 64))
}

// CSV writes a row a figure, at least one for each output and relay.
func (r *Report) CSV(w io.Writer) error {
	c := table.NewCSV(w, "survey", "unit", "signal", "kind", "behaviour", "event", "contact", "quantity", "unit_of_measure", "bound", "n", "mean", "standard_deviation", "least", "most",
		"expanded_uncertainty", "tolerance_low", "tolerance_high", "simulated", "complete")
	row := func(signal, kind, behaviour string, f Figure) error {
		low, high := f.Interval(usualCoverage, usualConfidence)
		return c.Row(table.Text(r.Run), table.Text(r.Unit), table.Text(signal), table.Text(kind), table.Text(behaviour), table.Text(f.Event), table.Text(f.Contact), table.Text(string(f.Quantity)), table.Text(f.Quantity.Unit()), table.Text(f.Bound.String()),
			table.Count(f.N), number(f.Mean), number(f.Deviation), number(f.Least), number(f.Most), number(f.Expanded), number(low), number(high), table.Truth(r.Simulated), table.Truth(r.Complete))
	}
	all := func(signal, kind, behaviour string, figures []Figure) error {
		if len(figures) == 0 {
			figures = []Figure{{Spread: spreadOf(nil, nil)}}
		}
		for _, f := range figures {
			if err := row(signal, kind, behaviour, f); err != nil {
				return err
			}
		}
		return nil
	}
	for i := range r.Outputs {
		b := &r.Outputs[i]
		if err := all(b.Signal, string(b.Kind), b.Words(), b.Figures); err != nil {
			return err
		}
	}
	for i := range r.Relays {
		x := &r.Relays[i]
		if err := all(x.Plan.Signal, "relay", x.Words(), x.Figures); err != nil {
			return err
		}
	}
	return c.Flush()
}

//go:embed schema.json
var schema []byte

// Schema writes the JSON Schema (draft 2020-12) of a survey.
func Schema(w io.Writer) error {
	_, err := w.Write(schema)
	return err
}

// object is a survey as machines read it. What is missing is null.
type object struct {
	Format    int            `json:"format"`
	Survey    string         `json:"survey"`
	RunID     string         `json:"run_id"`
	Unit      *string        `json:"unit"`
	Rig       string         `json:"rig"`
	By        *string        `json:"by"`
	Program   string         `json:"program"`
	Started   string         `json:"started"`
	Simulated bool           `json:"simulated"`
	Seed      *uint64        `json:"seed"`
	Faults    []string       `json:"faults"`
	Notes     *string        `json:"notes"`
	Complete  bool           `json:"complete"`
	Rounds    int            `json:"rounds"`
	Planned   int            `json:"planned_rounds"`
	States    int            `json:"states"`
	Watched   *float64       `json:"watched_s"`
	Events    []string       `json:"events"`
	Deciding  []string       `json:"deciding"`
	Roles     rolesObject    `json:"roles"`
	Outputs   []outputObject `json:"outputs"`
	Relays    []relayObject  `json:"relays"`
}

type rolesObject struct {
	Arming    []string   `json:"arming"`
	Disarming []string   `json:"disarming"`
	By        RoleSource `json:"by"`
}

type outputObject struct {
	Signal   string         `json:"signal"`
	Kind     Kind           `json:"kind"`
	Words    string         `json:"words"`
	High     bool           `json:"ends_high"`
	Inverted bool           `json:"inverted"`
	From     []string       `json:"from"`
	Until    []string       `json:"until"`
	Delay    *float64       `json:"delay_s"`
	Once     bool           `json:"seen_once"`
	Acts     []actObject    `json:"acts"`
	Figures  []figureObject `json:"figures"`
}

type actObject struct {
	Event    string   `json:"event"`
	While    []string `json:"while"`
	Does     Do       `json:"does"`
	After    *float64 `json:"after_s"`
	On       *float64 `json:"on_s"`
	Off      *float64 `json:"off_s"`
	Pulses   *int     `json:"pulses"`
	Lasts    *float64 `json:"lasts_s"`
	States   int      `json:"states"`
	Differed int      `json:"differed"`
}

type figureObject struct {
	Event     *string          `json:"event"`
	Contact   *string          `json:"contact"`
	Quantity  analyze.Quantity `json:"quantity"`
	Unit      string           `json:"unit_of_measure"`
	Bound     *string          `json:"bound"`
	N         int              `json:"n"`
	Mean      *float64         `json:"mean"`
	Deviation *float64         `json:"standard_deviation"`
	Least     *float64         `json:"least"`
	Most      *float64         `json:"most"`
	Expanded  *float64         `json:"expanded_uncertainty"`
	Low       *float64         `json:"tolerance_low"`
	High      *float64         `json:"tolerance_high"`
}

type relayObject struct {
	Relay   string         `json:"relay"`
	Words   string         `json:"words"`
	Make    *string        `json:"make"`
	Break   *string        `json:"break"`
	Outputs []string       `json:"outputs"`
	Swapped bool           `json:"swapped"`
	Changes int            `json:"changes"`
	Matched int            `json:"matched"`
	Figures []figureObject `json:"figures"`
}

func texts(all []string) []string { return append([]string{}, all...) }

func figureObjects(all []Figure) []figureObject {
	objects := []figureObject{}
	for i := range all {
		f := &all[i]
		low, high := f.Interval(usualCoverage, usualConfidence)
		objects = append(objects, figureObject{report.OrNil(f.Event), report.OrNil(f.Contact), f.Quantity, f.Quantity.Unit(), report.OrNil(f.Bound.String()),
			f.N, report.FiniteOrNil(f.Mean), report.FiniteOrNil(f.Deviation), report.FiniteOrNil(f.Least), report.FiniteOrNil(f.Most), report.FiniteOrNil(f.Expanded), report.FiniteOrNil(low), report.FiniteOrNil(high)})
	}
	return objects
}

func actObjects(all []Act) []actObject {
	objects := []actObject{}
	for i := range all {
		a := &all[i]
		e := &a.Effect
		x := actObject{Event: a.Event, While: texts(a.While), Does: e.Do, States: a.N, Differed: a.Wrong}
		if e.Do != Stays && e.Do != Differs {
			x.After, x.On, x.Off, x.Lasts = report.FiniteOrNil(e.After), report.OrNil(e.On), report.OrNil(e.Off), report.OrNil(e.Lasts)
			x.Pulses = report.OrNil(e.Pulses)
		}
		objects = append(objects, x)
	}
	return objects
}

// JSON writes the table as one object.
func (r *Report) JSON(w io.Writer) error {
	o := object{Format: report.Format, Survey: r.Run, RunID: r.RunID, Unit: report.OrNil(r.Unit), Rig: r.Rig, By: report.OrNil(r.By), Program: r.Program, Started: report.MachineTime(r.Started),
		Simulated: r.Simulated, Seed: r.Seed, Faults: texts(r.Faults), Notes: report.OrNil(r.Notes), Complete: r.Complete, Rounds: r.Cycles, Planned: r.Planned, States: r.States, Watched: report.FiniteOrNil(r.Watched),
		Events: texts(r.Events), Deciding: texts(r.Deciding), Roles: rolesObject{texts(r.Roles.Arming), texts(r.Roles.Disarming), r.Roles.By}, Outputs: []outputObject{}, Relays: []relayObject{}}
	for i := range r.Outputs {
		b := &r.Outputs[i]
		o.Outputs = append(o.Outputs, outputObject{b.Signal, b.Kind, b.Words(), b.High, b.Inverted, texts(b.From), texts(b.Until), report.OrNil(b.Delay), b.Once, actObjects(b.Acts), figureObjects(b.Figures)})
	}
	for i := range r.Relays {
		x := &r.Relays[i]
		o.Relays = append(o.Relays, relayObject{x.Plan.Signal, x.Words(), report.OrNil(x.Plan.Make), report.OrNil(x.Plan.Break), texts(x.Behind.Outputs), x.Swapped, x.Behind.Changes, x.Behind.Matched, figureObjects(x.Figures)})
	}
	return table.JSON(w, o)
}

//go:embed page.html
var pageSource string

var surveyPage = look.NewPage(pageSource)

// page is what the page shows.
type page struct {
	Of        string
	Simulated bool
	Note      string
	Lines     [][2]string
	Rows      []pageRow
	Events    []string
	Matrix    []pageActs
	Figures   []pageFigure
}

type pageRow struct {
	Signal, Words string
	Figures       []string
}

type pageActs struct {
	Signal string
	Acts   []string // by event
}

type pageFigure struct{ Signal, Quantity, Event, N, Mean, Deviation, Range, Uncertainty string }

// HTML writes the table as one page that stands alone.
func (r *Report) HTML(w io.Writer) error {
	p := page{Of: words.Safe(r.Unit), Simulated: r.Simulated, Lines: r.lines(), Events: words.Texts(r.Events, words.Safe)}
	if p.Of == "" {
		p.Of = "run " + words.Safe(r.Run)
	}
	for i := range r.Outputs {
		b := &r.Outputs[i]
		p.Rows = append(p.Rows, pageRow{words.Safe(b.Signal), b.Words(), figureLines(b.Figures)})
		p.Matrix = append(p.Matrix, pageActs{words.Safe(b.Signal), b.byEvent(r.Events)})
		p.Figures = append(p.Figures, pageFigures(b.Signal, b.Figures)...)
	}
	for i := range r.Relays {
		x := &r.Relays[i]
		p.Rows = append(p.Rows, pageRow{words.Safe(x.Plan.Signal), x.Words(), figureLines(x.Figures)})
		p.Figures = append(p.Figures, pageFigures(x.Plan.Signal, x.Figures)...)
	}
	return surveyPage.Write(w, p)
}

// byEvent says of each event what it does to the output.
func (b *Behaviour) byEvent(events []string) []string {
	cells := make([]string, len(events))
	for i, e := range events {
		var parts []string
		for k := range b.Acts {
			a := &b.Acts[k]
			if a.Event != e || a.Effect.Do == Stays && a.Wrong == 0 {
				continue
			}
			parts = append(parts, a.words()+a.whileWords())
		}
		cells[i] = strings.Join(parts, "; ")
	}
	return cells
}

func pageFigures(signal string, all []Figure) (rows []pageFigure) {
	for i := range all {
		f := &all[i]
		if f.Event != "" {
			continue
		}
		k := unit.Of(f.Quantity.Unit())
		of := signal
		if f.Contact != "" {
			of = f.Contact
		}
		x := pageFigure{Signal: words.Safe(of), Quantity: f.Quantity.Words(), N: strconv.Itoa(f.N), Mean: f.Bound.Sign() + f.value(), Deviation: "–", Uncertainty: "–"}
		if f.Deviation > 0 {
			x.Deviation = k.Short(f.Deviation, 2)
		}
		if f.Expanded > 0 {
			x.Uncertainty = k.Short(f.Expanded, 2)
		}
		if low, high := f.Interval(usualCoverage, usualConfidence); finite(low) && f.Bound == analyze.NoBound && f.Deviation > 0 {
			x.Range = f.scale(math.Abs(high-low)/2).Range(low, high, " … ")
		}
		rows = append(rows, x)
	}
	return rows
}
