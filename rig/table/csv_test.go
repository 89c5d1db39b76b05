package table

import (
	"encoding/csv"
	"errors"
	"strings"
	"testing"
)

// Text cannot become a formula, and numbers stay numbers, also below 0.
func TestCSV(t *testing.T) {
	var b strings.Builder
	c := NewCSV(&b, "unit", "value", "n", "complete", "missing")
	err := errors.Join(c.Row(Text("=1+1"), Number("-1.5"), Count(-3), Truth(true), Cell{}),
		c.Row(Text("a,\"b\"\x1b\n"), Number("1e-9"), Count(0), Truth(false), Text("")), c.Flush())
	want := "unit,value,n,complete,missing\r\n'=1+1,-1.5,-3,true,\r\n\"a,\"\"b\"\"\\x1b\\n\",1e-9,0,false,\r\n"
	if err != nil || b.String() != want {
		t.Errorf("%v\n%q", err, b.String())
	}
	if rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll(); err != nil || len(rows) != 3 {
		t.Errorf("%d rows: %v", len(rows), err)
	}
	full := NewCSV(full{}, "a")
	if err := full.Flush(); !errors.Is(err, errFull) {
		t.Errorf("%v", err)
	}
}
