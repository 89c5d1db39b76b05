package report

import (
	"encoding/json"
	"reflect"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/table"
)

// result is one measurement as machines read it: each field is a column of CSV and a
// member of JSON, by the same name and in this order. What is missing is nil.
type result struct {
	place
	Value        *json.Number `json:"value"`
	UnitName     *string      `json:"unit_of_measure"`
	Expanded     *json.Number `json:"expanded_uncertainty"`
	Lower        *json.Number `json:"lower_limit"`
	Upper        *json.Number `json:"upper_limit"`
	Verdict      *string      `json:"verdict"`
	Reason       *string      `json:"reason"`
	Bound        *string      `json:"bound"`
	CycleStarted *string      `json:"cycle_started"`
	origin
}

// place says which measurement it is.
type place struct {
	Run      *string      `json:"run"`
	Unit     *string      `json:"unit"`
	Cycle    *json.Number `json:"cycle"`
	Event    *string      `json:"event"`
	Signal   *string      `json:"signal"`
	Quantity *string      `json:"quantity"`
}

// origin says what a measurement comes from: it is the same for all of a record but for the
// program, which may be another after an interruption.
type origin struct {
	Sequence  *string `json:"sequence"`
	Rig       *string `json:"rig"`
	Simulated *bool   `json:"simulated"`
	Faults    *string `json:"faults"`
	By        *string `json:"by"`
	Program   *string `json:"program"`
	Complete  *bool   `json:"complete"`
	RunID     *string `json:"run_id"`
	Fields    *object `json:"fields"`
}

func originOf(r *Record) origin {
	return origin{
		Sequence: textOrNil(r.Sequence), Rig: textOrNil(r.Rig), Simulated: &r.Simulated, Faults: textOrNil(strings.Join(FaultNames(r.Faults), " ")),
		By: textOrNil(r.By), Program: textOrNil(r.Program), Complete: &r.Complete, RunID: textOrNil(r.RunID),
		Fields: objectOrNil(FieldObject(r.Fields)),
	}
}

// FaultNames are planted faults as --fault takes them, each without a blank, as in
// adc-lost=2s.
func FaultNames(faults []string) []string {
	names := make([]string, len(faults))
	for i, f := range faults {
		names[i] = strings.Join(strings.Fields(plainText(f)), "")
	}
	return names
}

// results makes a record's measurements ready for machines, one after the other.
type results struct {
	r         *Record
	run, unit *string
	origin    origin
	cycle     int // that started and the origin's program are of
	started   *string
}

func resultsOf(r *Record) *results {
	return &results{r: r, run: textOrNil(r.Run), unit: textOrNil(r.Unit), origin: originOf(r)}
}

// of returns one measurement. The error is of reading when its cycle began.
func (x *results) of(m *analyze.Measurement) (result, error) {
	value, expanded := Round(m.Quantity, m.Value, m.Expanded)
	err := x.enter(m.Cycle)
	return result{
		place: x.placeOf(m), Value: digitsOrNil(value), UnitName: textOrNil(m.Quantity.Unit()), Expanded: digitsOrNil(expanded),
		Lower: digitsOrNil(shortest(m.Limit.Lower)), Upper: digitsOrNil(shortest(m.Limit.Upper)), Verdict: textOrNil(string(m.Verdict)), Reason: textOrNil(diagnose.Reason(m)),
		Bound: textOrNil(m.Bound().String()), CycleStarted: x.started, origin: x.origin,
	}, err
}

// all hands on all measurements of the record, until one is not taken or a fault of
// reading, which it returns.
func (x *results) all(take func(*result) bool) error {
	for m, err := range x.r.measurements() {
		if err != nil {
			return err
		}
		one, err := x.of(&m)
		if err != nil {
			return err
		}
		if !take(&one) {
			return nil
		}
	}
	return nil
}

func (x *results) placeOf(m *analyze.Measurement) place {
	cycle := ""
	if m.Cycle > 0 {
		cycle = strconv.Itoa(m.Cycle)
	}
	return place{x.run, x.unit, digitsOrNil(cycle), textOrNil(m.Event), textOrNil(m.Signal), textOrNil(string(m.Quantity))}
}

// enter takes in what all measurements of a cycle have in common: when it began, to the
// millisecond, and which version of the program measured it.
func (x *results) enter(cycle int) error {
	if cycle == x.cycle {
		return nil
	}
	x.cycle, x.started, x.origin.Program = cycle, nil, textOrNil(programAt(x.r, cycle))
	if x.r.CycleStart == nil {
		return nil
	}
	at, err := x.r.CycleStart(cycle)
	if err == nil && !at.IsZero() {
		x.started = textOrNil(at.UTC().Format("2006-01-02T15:04:05.000Z07:00"))
	}
	return err
}

// programAt is the version of the program that measured a cycle: another one may have gone on
// with a soak.
func programAt(r *Record, cycle int) string {
	program := r.Program
	for _, i := range r.Interruptions {
		if i.After < cycle && i.Program != "" {
			program = i.Program
		}
	}
	return program
}

// textOrNil is a text for machines; an empty one is missing.
func textOrNil(s string) *string { return OrNil(plainText(s)) }

// digitsOrNil is a number for machines by its digits; no digits are a missing one.
func digitsOrNil(s string) *json.Number { return OrNil(json.Number(s)) }

// OrNil is a value for JSON; the zero one is missing, and so null there.
func OrNil[T comparable](x T) *T {
	var zero T
	if x == zero {
		return nil
	}
	return &x
}

// FiniteOrNil is a number for JSON; one that is not finite is missing, and so null there.
func FiniteOrNil(x float64) *float64 {
	if !finite(x) {
		return nil
	}
	return &x
}

// columnsOf returns the columns' names of a type like result.
func columnsOf[T any]() []string {
	var names []string
	for _, f := range reflect.VisibleFields(reflect.TypeFor[T]()) {
		if !f.Anonymous {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			names = append(names, name)
		}
	}
	return names
}

// cellsOf appends the cells of a row; an empty one is a missing one.
func cellsOf[T any](cells []table.Cell, row *T) []table.Cell {
	return appendCells(cells, reflect.ValueOf(row).Elem())
}

func appendCells(cells []table.Cell, v reflect.Value) []table.Cell {
	for i := range v.NumField() {
		f := v.Field(i)
		if f.Kind() == reflect.Struct {
			cells = appendCells(cells, f)
			continue
		}
		var cell table.Cell // a missing one
		if !f.IsNil() {
			switch x := f.Elem(); {
			case x.Type() == reflect.TypeFor[object]():
				cell = table.Text(object(x.String()).cell())
			case x.Kind() == reflect.Bool:
				cell = table.Truth(x.Bool())
			case x.Type() == reflect.TypeFor[json.Number]():
				cell = table.Number(x.String())
			default:
				cell = table.Text(x.String())
			}
		}
		cells = append(cells, cell)
	}
	return cells
}
