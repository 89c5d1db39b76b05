// Package netlists has ngspice, a general circuit simulator, work out the circuits of
// this folder for tests, see README.md.
package netlists

import (
	"bufio"
	"bytes"
	"context"
	"embed"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"makebreak/testdata/tool"
)

// The output is told to switch on and off at these instants, in seconds, and takes its
// time.
const (
	ToldOn  = 0.010
	ToldOff = 0.035
	Takes   = 0.0032
)

// Output is what ngspice makes of a netlist.
type Output struct {
	Figures map[string]float64     // of its own .measure
	Rows    map[string][][]float64 // by the name of the file: time in seconds, volts, amperes
}

//go:embed *.cir *.data *.figures
var folder embed.FS

// patience bounds ngspice's work, which takes a second.
const patience = 5 * time.Minute

// Each lets a test check what was recorded of a netlist, and what ngspice makes of it
// where it is installed.
func Each(t *testing.T, name string, check func(t *testing.T, o *Output)) {
	t.Run("recorded", func(t *testing.T) {
		figures, err := folder.ReadFile(name + ".figures")
		if err != nil {
			t.Fatal(err)
		}
		check(t, read(t, figures, folder))
	})
	t.Run("ngspice", func(t *testing.T) {
		spice := tool.Find(t, "ngspice")
		dir := t.TempDir()
		netlist, err := folder.ReadFile(name + ".cir")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name+".cir"), netlist, 0o644); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		c := exec.CommandContext(ctx, spice, "-b", name+".cir")
		c.Dir, c.Env = dir, append(os.Environ(), "HOME="+dir, "LC_ALL=C")
		said, err := c.Output()
		if err != nil {
			t.Fatalf("ngspice: %v\n%s", err, said)
		}
		check(t, read(t, said, os.DirFS(dir)))
	})
}

var figure = regexp.MustCompile(`(?m)^([a-z_0-9]+) += +([-+.e0-9]+)`)

func read(t *testing.T, said []byte, dir fs.FS) *Output {
	t.Helper()
	o := &Output{map[string]float64{}, map[string][][]float64{}}
	for _, m := range figure.FindAllSubmatch(said, -1) {
		x, err := strconv.ParseFloat(string(m[2]), 64)
		if err != nil {
			t.Fatalf("%s: %v", m[1], err)
		}
		o.Figures[string(m[1])] = x
	}
	files, err := fs.Glob(dir, "*.data")
	if err != nil || len(files) == 0 || len(o.Figures) == 0 {
		t.Fatalf("%d figures and %d files from ngspice: %v\n%s", len(o.Figures), len(files), err, said)
	}
	for _, f := range files {
		b, err := fs.ReadFile(dir, f)
		if err != nil {
			t.Fatal(err)
		}
		o.Rows[strings.TrimSuffix(f, ".data")] = rows(t, b)
	}
	return o
}

func rows(t *testing.T, data []byte) (all [][]float64) {
	t.Helper()
	for s := bufio.NewScanner(bytes.NewReader(data)); s.Scan(); {
		var row []float64
		for _, cell := range strings.Fields(s.Text()) {
			x, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatalf("row %d: %v", len(all)+1, err)
			}
			row = append(row, x)
		}
		all = append(all, row)
	}
	return all
}

// Figure returns one of .measure's figures, which must be there.
func (o *Output) Figure(t *testing.T, name string) float64 {
	t.Helper()
	x, ok := o.Figures[name]
	if !ok {
		t.Fatalf("ngspice told no %s", name)
	}
	return x
}

// CSV writes the volts of a file as a capture of OUT3 with the events.
func (o *Output) CSV(t *testing.T, name string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("time_s,OUT3_V,event\n")
	events := []struct {
		at   float64
		name string
	}{{ToldOn, "arm-away"}, {ToldOff, "disarm"}}
	if len(o.Rows[name]) == 0 {
		t.Fatalf("ngspice wrote no %s.data", name)
	}
	for _, r := range o.Rows[name] {
		event := ""
		if len(events) > 0 && r[0] >= events[0].at-1e-9 {
			event, events = events[0].name, events[1:]
		}
		fmt.Fprintf(&b, "%.9f,%.6f,%s\n", r[0], r[1], event)
	}
	return b.String()
}
