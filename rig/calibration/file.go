package calibration

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"github.com/google/renameio/v2"

	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/yamlfile"
)

// A File holds a rig's calibrations.
type File struct {
	Path         string
	Rig          string // the rig's name
	Calibrations []*Calibration
}

// PathFor returns where the calibrations of a rig file stand: beside it.
func PathFor(rigFile string) string {
	return rigfile.Beside(rigFile, "calibration")
}

// Of returns the output's calibration, or nil.
func (f *File) Of(out string) *Calibration {
	for _, c := range f.Calibrations {
		if c.Output == out {
			return c
		}
	}
	return nil
}

// Set puts a calibration in the place of the output's earlier one.
func (f *File) Set(c *Calibration) {
	i := slices.IndexFunc(f.Calibrations, func(old *Calibration) bool { return old.Output == c.Output })
	if i < 0 {
		f.Calibrations = append(f.Calibrations, c)
		return
	}
	f.Calibrations[i] = c
}

// Load reads the calibrations at the path; where there is no file there are none, and
// the file is of the rig named. The lines are fitted again from the points, and a file that
// says otherwise is refused. The error is of the kind Input.
func Load(ctx context.Context, path, rig string) (*File, error) {
	src, err := yamlfile.ReadFile(ctx, path)
	if errors.Is(err, fs.ErrNotExist) {
		return &File{Path: path, Rig: rig}, nil
	}
	if err != nil {
		return nil, problem.Reading(fmt.Errorf("calibrations: %w", err))
	}
	return Parse(path, src)
}

// Save writes the file whole or not at all: a reader sees the old file or the new one,
// and a failure leaves the old one. The error is of the kind Storage.
func (f *File) Save() error {
	path, err := outfile.RealPath(f.Path) // a link stays one
	if err == nil {
		err = renameio.WriteFile(path, f.Format(), 0o644)
	}
	if err != nil {
		return problem.Of(problem.Storage, fmt.Errorf("calibrations: %w", err))
	}
	return nil
}

// Format returns the file's text.
func (f *File) Format() []byte {
	var b strings.Builder
	b.WriteString("# Calibrations of a rig's outputs against a meter, written by makebreak rig calibrate.\n" +
		"# The gains and offsets follow from the points: changing one without the other is refused.\n")
	fmt.Fprintf(&b, "rig: %s\noutputs:\n", quoted(f.Rig))
	for _, c := range f.Calibrations {
		c.format(&b)
	}
	return []byte(b.String())
}

func (c *Calibration) format(b *strings.Builder) {
	fmt.Fprintf(b, "  %s:\n    date: %s\n    due: %s\n    meter: %s\n", quoted(c.Output), c.Date, c.Due, quoted(c.Meter))
	if c.By != "" {
		fmt.Fprintf(b, "    by: %s\n", quoted(c.By))
	}
	fmt.Fprintf(b, "    wiring: %s\n    gain: %s\n    offset: %s\n    nonlinearity: %s\n    points:\n", quoted(c.Wiring), strconv.FormatFloat(c.Gain, 'f', 9, 64),
		volts(microvolts(c.Offset)), volts(c.Nonlinearity))
	for i := range c.Points {
		p := &c.Points[i]
		fmt.Fprintf(b, "      - {meter: %s, accuracy: %s, read: %s, uncertainty: %s, samples: %d, residual: %s%s}\n", p.Meter.Text, quoted(p.Accuracy.Text),
			volts(p.ReadVolts), volts(p.ReadStandard), p.N, volts(microvolts(c.Residuals[i])), accepted(p))
	}
}

// accepted marks a point that was taken although meter and rig differ too much.
func accepted(p *Point) string {
	if p.Accepted {
		return ", accepted: true"
	}
	return ""
}

// volts writes volts so that reading gives the same number back.
func volts(v float64) string { return strconv.FormatFloat(v+0, 'f', -1, 64) + " V" }

// quoted writes text in double quotes, as YAML reads it.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}
