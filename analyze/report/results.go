package report

import (
	"encoding/json"
	"reflect"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
)

// result is one measurement as machines read it: each field is a column of CSV and a
// member of JSON, by the same name and in this order. What is missing is nil.
type result struct {
	place
	Value    *json.Number `json:"value"`
	UnitName *string      `json:"unit_of_measure"`
	Expanded *json.Number `json:"expanded_uncertainty"`
	Lower    *json.Number `json:"lower_limit"`
	Upper    *json.Number `json:"upper_limit"`
	Verdict  *string      `json:"verdict"`
	Reason   *string      `json:"reason"`
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

func resultOf(r *Record, m *analyze.Measurement) result {
	value, expanded := Round(m.Quantity, m.Value, m.Expanded)
	return result{
		place: placeOf(r, m), Value: digitsOrNil(value), UnitName: textOrNil(m.Quantity.Unit()), Expanded: digitsOrNil(expanded),
		Lower: digitsOrNil(shortest(m.Limit.Lower)), Upper: digitsOrNil(shortest(m.Limit.Upper)), Verdict: textOrNil(string(m.Verdict)), Reason: textOrNil(diagnose.Reason(m)),
	}
}

func placeOf(r *Record, m *analyze.Measurement) place {
	cycle := ""
	if m.Cycle > 0 {
		cycle = strconv.Itoa(m.Cycle)
	}
	return place{textOrNil(r.Run), textOrNil(r.Unit), digitsOrNil(cycle), textOrNil(m.Event), textOrNil(m.Signal), textOrNil(string(m.Quantity))}
}

// textOrNil is a text for machines; an empty one is missing.
func textOrNil(s string) *string {
	if s == "" {
		return nil
	}
	s = plainText(s)
	return &s
}

// digitsOrNil is a number for machines by its digits; no digits are a missing one.
func digitsOrNil(s string) *json.Number {
	if s == "" {
		return nil
	}
	n := json.Number(s)
	return &n
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

// cellsOf returns the cells of a row; an empty one is a missing one.
func cellsOf(row any) []string { return appendCells(nil, reflect.ValueOf(row)) }

func appendCells(cells []string, v reflect.Value) []string {
	for i := range v.NumField() {
		switch f := v.Field(i); {
		case f.Kind() == reflect.Struct:
			cells = appendCells(cells, f)
		case f.IsNil():
			cells = append(cells, "")
		default:
			cells = append(cells, f.Elem().String())
		}
	}
	return cells
}
