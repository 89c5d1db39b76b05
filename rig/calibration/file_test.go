package calibration

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
	_ "makebreak/testdata/fixedseed"
)

// stored is a file with one calibration of OUT3.
func stored(t testing.TB) *File {
	t.Helper()
	c, err := New(benchRig(), calibrationOf(t, points(t, "0.5 % + 2 digits", "0.65 V", 0.66, "7.05 V", 6.98, "13.47 V", 13.30)), madeOn(t))
	if err != nil {
		t.Fatal(err)
	}
	return &File{Path: "bench.calibration.yaml", Rig: "bench", Calibrations: []*Calibration{c}}
}

// The file's text. Its points are evenly spaced and weigh the same, so the line is
// worked by hand: (13.47 - 0.65)/12.64 = 1.01424051 through (6.98, 7.056667).
func TestFile_Format(t *testing.T) {
	want := `# Calibrations of a rig's outputs against a meter, written by makebreak rig calibrate.
# The gains and offsets follow from the points: changing one without the other is refused.
rig: "bench"
outputs:
  "OUT3":
    date: 2026-03-31
    due: 2027-03-31
    meter: "4711"
    by: "A. Fitter"
    wiring: "ADS1115 at 0x48 channel 0, range 4.096 V, divider 39 kohm over 10 kohm of 1 %"
    gain: 1.014240507
    offset: -0.022732 V
    nonlinearity: 0.000613 V
    points:
      - {meter: 0.65 V, accuracy: "0.5 % + 2 digits", read: 0.66 V, uncertainty: 0.0002 V, samples: 400, residual: 0.003333 V}
      - {meter: 7.05 V, accuracy: "0.5 % + 2 digits", read: 6.98 V, uncertainty: 0.0002 V, samples: 400, residual: -0.006667 V}
      - {meter: 13.47 V, accuracy: "0.5 % + 2 digits", read: 13.3 V, uncertainty: 0.0002 V, samples: 400, residual: 0.003333 V}
`
	if d := cmp.Diff(want, string(stored(t).Format())); d != "" {
		t.Error(d)
	}
}

// What is written reads back the same, whatever usable serials and names, and points, it holds.
func TestParse_roundTrip(t *testing.T) {
	text := rapid.StringMatching(`[A-Za-zäß0-9\\"'#:{}&*!|>%@, -]{0,20}[\\"'#:}A-Za-z0-9]`).Filter(func(s string) bool { return words.CheckName(s) == nil })
	rapid.Check(t, func(t *rapid.T) {
		rig := benchRig()
		gain, offset := rapid.Float64Range(0.985, 1.015).Draw(t, "gain"), rapid.Float64Range(-0.003, 0.003).Draw(t, "offset")
		c := Calibration{Output: "OUT3", Meter: text.Draw(t, "meter"), By: text.Draw(t, "by"), Date: Day{}, Wiring: Wiring(rig, "OUT3", 0)}
		c.Date, _ = ParseDay("2026-03-31")
		c.Due = c.Date.YearLater()
		places := rapid.IntRange(2, 4).Draw(t, "places")
		a, err := ParseAccuracy("±(0.5 % rdg + 3 dgt)")
		if err != nil {
			t.Fatal(err)
		}
		for i := range rapid.IntRange(2, 6).Draw(t, "n") {
			read := microvolts(1 + 2.4*float64(i)*4/3*0.8)
			if i == 1 {
				read = 13
			}
			shown, err := ParseReading(fmt.Sprintf("%.*f V", places, gain*read+offset))
			if err != nil {
				t.Fatal(err)
			}
			c.Points = append(c.Points, Point{Meter: shown, Accuracy: a, ReadVolts: read, ReadStandard: microvoltsUp(rapid.Float64Range(0, 1e-3).Draw(t, "uncertainty")), N: i + 1})
		}
		done, err := New(rig, c, c.Date)
		if err != nil {
			t.Fatal(err)
		}
		f := &File{Path: "f.yaml", Rig: text.Draw(t, "rig"), Calibrations: []*Calibration{done}}
		got, err := Parse("f.yaml", f.Format())
		if err != nil {
			t.Fatalf("%v\n%s", err, f.Format())
		}
		if d := cmp.Diff(f, got, cmp.AllowUnexported(Day{}), cmpopts.EquateNaNs()); d != "" {
			t.Fatal(d)
		}
	})
}

// A file that was changed by hand, or holds what cannot be, is refused at its place.
func TestParse_refused(t *testing.T) {
	src := string(stored(t).Format())
	for name, c := range map[string]struct{ old, new, want string }{
		"gain":       {"gain: 1.014", "gain: 1.015", "changed by hand: calibrate again"},
		"offset":     {"offset: -0.022", "offset: -0.021", "f.yaml:5:3: outputs.OUT3: the points give a gain of 1.014"},
		"point":      {"read: 13.3 V", "read: 13.2 V", "changed by hand"},
		"residual":   {"residual: ", "residual: 1", "changed by hand"},
		"off line":   {"meter: 7.05 V", "meter: 7.90 V", "changed by hand"},
		"due":        {"due: 2027", "due: 2025", "it falls due on 2025-03-31, which is not after 2026-03-31"},
		"no date":    {"    date: 2026-03-31\n", "", "outputs.OUT3.date: this key is missing: add it, for example date: 2026-03-31"},
		"bad date":   {"date: 2026-03-31", "date: 31.03.2026", `f.yaml:6:11: outputs.OUT3.date: "31.03.2026": must be a day`},
		"accuracy":   {`accuracy: "0.5 % + 2 digits"`, `accuracy: "0.5 + 2 digits"`, `"0.5 + 2 digits": "0.5" has no unit; must be an accuracy`},
		"bare":       {"meter: 0.65 V", "meter: 0.65", `outputs.OUT3.points[0].meter: "0.65": must be all digits that the meter showed`},
		"unknown":    {"    by:", "    buy:", "there is no key of this name here"},
		"big gain":   {"gain: 1.", "gain: 9.", "must be a number from 0.5 to 2"},
		"far offset": {"offset: -0.022", "offset: -9999.022", "from -1000 V to 1000 V"},
		"samples":    {"samples: 400", "samples: 0", "a whole number from 1"},
		"name":       {`"OUT3":`, `"OUT 3":`, `a name has no ' '`},
		"meter":      {`meter: "4711"`, `meter: "47\n11"`, "must be up to 64 printed characters"},
	} {
		bad := strings.Replace(src, c.old, c.new, 1)
		if bad == src {
			t.Fatalf("%s: %q does not stand in\n%s", name, c.old, src)
		}
		_, err := Parse("f.yaml", []byte(bad))
		var at *yamlfile.Error
		if !errors.As(err, &at) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v\nwant %s", name, err, c.want)
		}
	}
}

// One point is no calibration even where a file says so.
func TestParse_onePoint(t *testing.T) {
	lines := strings.SplitAfter(string(stored(t).Format()), "\n")
	_, err := Parse("f.yaml", []byte(strings.Join(append(lines[:15:15], ""), "")))
	if err == nil || !strings.Contains(err.Error(), "2 to 50 points make a calibration; it has 1:") {
		t.Error(err)
	}
}

func TestFile_Set(t *testing.T) {
	f := stored(t)
	first := f.Of("OUT3")
	other, again := *first, *first
	other.Output, again.Meter = "OUT4", "4712"
	f.Set(&other)
	f.Set(&again)
	if len(f.Calibrations) != 2 || f.Of("OUT3").Meter != "4712" || f.Of("OUT4") != &other || f.Of("OUT5") != nil {
		t.Errorf("%+v", f.Calibrations)
	}
}

func TestPathFor(t *testing.T) {
	for file, want := range map[string]string{"rig.yaml": "rig.calibration.yaml", "a/rig.yml": "a/rig.calibration.yaml", "rig": "rig.calibration.yaml"} {
		if got := PathFor(file); got != want {
			t.Errorf("%s: %s, want %s", file, got, want)
		}
	}
}

// Saving replaces the file whole; where it fails the old one stays and nothing is left
// lying about.
func TestFile_Save(t *testing.T) {
	dir := t.TempDir()
	f := stored(t)
	f.Path = filepath.Join(dir, "rig.calibration.yaml")
	none, err := Load(t.Context(), f.Path, "bench")
	if err != nil || len(none.Calibrations) != 0 || none.Rig != "bench" {
		t.Fatalf("no file: %+v, %v", none, err)
	}
	if err := f.Save(); err != nil {
		t.Fatal(err)
	}
	got, err := Load(t.Context(), f.Path, "bench")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(f, got, cmp.AllowUnexported(Day{})); d != "" {
		t.Fatal(d)
	}
	before, err := os.ReadFile(f.Path)
	if err != nil {
		t.Fatal(err)
	}
	// A directory in the file's place cannot be replaced.
	blocked := *f
	blocked.Path = filepath.Join(dir, "blocked")
	if err := os.MkdirAll(filepath.Join(blocked.Path, "inside"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := blocked.Save(); err == nil || !strings.HasPrefix(err.Error(), "calibrations: ") {
		t.Errorf("a directory was replaced: %v", err)
	}
	gone := *f
	gone.Path = filepath.Join(dir, "nowhere", "rig.calibration.yaml")
	if err := gone.Save(); problem.KindOf(err) != problem.Storage {
		t.Error("a file in no directory was written")
	}
	after, err := os.ReadFile(f.Path)
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the file has changed: %v", err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 2 {
		t.Errorf("the directory holds %v, %v", entries, err)
	}
	if err := os.WriteFile(f.Path, []byte("rig: [\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(t.Context(), f.Path, "bench"); err == nil {
		t.Error("a broken file was read")
	}
}

func TestParsePoints(t *testing.T) {
	s, err := ParsePoints("p.yaml", []byte(`
meter: 4711
accuracy: 0.5 % + 2 digits
date: 2026-03-31
points:
  - {meter: 0.651 V, read: 0.648 V}
  - {meter: 13.47 V, read: 13.3124 V, uncertainty: 0.4 mV, samples: 860, accuracy: 0.8 % + 3 digits}
`))
	if err != nil {
		t.Fatal(err)
	}
	p := s.Points
	if s.Meter != "4711" || !s.Dated || s.HasDue || s.Date.String() != "2026-03-31" || len(p) != 2 {
		t.Fatalf("%+v", s)
	}
	near(t, "half of 0.651 V", p[0].Half(), 0.005*0.651+0.002, 1e-12)
	near(t, "half of 13.47 V", p[1].Half(), 0.008*13.47+0.03, 1e-12)
	near(t, "read", p[0].ReadVolts, 0.648, 0)
	near(t, "half a digit", p[0].ReadStandard, 0.0005/math.Sqrt(3), 1e-6)
	near(t, "given", p[1].ReadStandard, 0.0004, 1e-12)
	if p[0].N != 1 || p[1].N != 860 {
		t.Errorf("samples %d and %d", p[0].N, p[1].N)
	}
	for name, c := range map[string]struct{ src, want string }{
		"no accuracy": {"meter: a\npoints:\n- {meter: 1 V, read: 1 V}\n", "p.yaml:3:3: points[0]: this point has no accuracy and the file has none for all: must be an accuracy as the manual writes it"},
		"no meter":    {"accuracy: 1 %\npoints: [{meter: 1 V, read: 1 V}]\n", "meter: this key is missing: add it, for example meter: serial 123456"},
		"no points":   {"meter: a\naccuracy: 1 %\n", "points: this key is missing"},
		"bare":        {"meter: a\naccuracy: 1 %\npoints: [{meter: 1, read: 1 V}]\n", `points[0].meter: "1": must be all digits`},
		"no read":     {"meter: a\naccuracy: 1 %\npoints: [{meter: 1 V}]\n", "points[0].read: this key is missing"},
		"unknown":     {"meter: a\naccuracy: 1 %\npoints: [{meter: 1 V, read: 1 V, sample: 1}]\n", "there is no key of this name here; did you mean samples?"},
		"negative":    {"meter: a\naccuracy: 1 %\npoints: [{meter: 1 V, read: 1 V, uncertainty: -1 V}]\n", "from 0 V to 1000 V"},
		"a word":      {"meter: a\naccuracy: 1 %\npoints: [one]\n", "must be a point, as in"},
		"no YAML":     {"meter: [", "this is not YAML"},
	} {
		if _, err := ParsePoints("p.yaml", []byte(c.src)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v\nwant %s", name, err, c.want)
		}
	}
}

// Whatever the text, it is refused with a place or holds calibrations that are whole
// and can be written again.
func FuzzParse(f *testing.F) {
	f.Add(stored(f).Format())
	f.Add([]byte("rig: a\noutputs:\n  A: {date: 2026-01-01, due: 2027-01-01, meter: a, wiring: b, gain: 1, offset: 0 V, nonlinearity: 0 V, points: [{meter: 0 V, accuracy: 1 d, read: 0 V, uncertainty: 0 V, samples: 1, residual: 0 V}, {meter: 1 V, accuracy: 1 d, read: 1 V, uncertainty: 0 V, samples: 1, residual: 0 V}]}\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		file, err := Parse("f.yaml", src)
		var at *yamlfile.Error
		if err != nil {
			if !errors.As(err, &at) {
				t.Fatalf("an error without a place: %v", err)
			}
			return
		}
		for _, c := range file.Calibrations {
			if !(c.Gain > leastGain && c.Gain < mostGain) || len(c.Residuals) != len(c.Points) || len(c.Doubts) == 0 {
				t.Fatalf("%+v", c)
			}
			for _, d := range c.Doubts {
				if math.IsNaN(d.Relative+d.Volts) || math.IsInf(d.Relative+d.Volts, 0) {
					t.Fatalf("doubt %+v", d)
				}
			}
		}
		if _, err := Parse("f.yaml", file.Format()); err != nil {
			t.Fatalf("%v\n%s", err, file.Format())
		}
	})
}

// Whatever the text, a points file is refused with a place or holds points from which a
// calibration can be made or is refused.
func FuzzParsePoints(f *testing.F) {
	for _, points := range []string{"- {meter: 0.651 V, read: 0.648 V}\n- {meter: 13.47 V, read: 13.3124 V, uncertainty: 0.4 mV, samples: 860, accuracy: 0.8 % + 3 digits}\n",
		"- {meter: 1.00 V, read: 1.01 V}\n- back\n- {meter: 2.00 V, read: 2.01 V, accepted: true}\n- back 1\n", "- back 99999999999999999999\n"} {
		f.Add([]byte("meter: 4711\naccuracy: 0.5 % + 2 digits\ndate: 2026-03-31\ndue: 2027-03-31\npoints:\n" + points))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		s, err := ParsePoints("p.yaml", src)
		if err != nil {
			if at := new(yamlfile.Error); !errors.As(err, &at) || at.File != "p.yaml" {
				t.Fatalf("an error without a place: %v", err)
			}
			return
		}
		for _, p := range s.Points {
			if math.IsNaN(p.ReadVolts+p.ReadStandard+p.Half()) || math.IsInf(p.ReadVolts+p.ReadStandard+p.Half(), 0) || p.ReadStandard < 0 || p.N < 1 {
				t.Fatalf("%+v", p)
			}
		}
		made := s.Calibration("OUT3", madeOn(t))
		made.By, made.Wiring = "A. Fitter", Wiring(benchRig(), "OUT3", 0)
		c, err := New(benchRig(), made, madeOn(t))
		if err == nil && !(c.Gain > leastGain && c.Gain < mostGain) {
			t.Fatalf("%+v", c)
		}
	})
}

// What a points file leaves open: the day is today, and it is due a year later.
func TestSession_Calibration(t *testing.T) {
	today, day1, day2 := day(t, "2026-04-01"), day(t, "2026-03-01"), day(t, "2026-09-01")
	for _, c := range []struct {
		session   Session
		date, due string
	}{
		{Session{}, "2026-04-01", "2027-04-01"},
		{Session{Dated: true, Date: day1}, "2026-03-01", "2027-03-01"},
		{Session{HasDue: true, Due: day2}, "2026-04-01", "2026-09-01"},
		{Session{Dated: true, Date: day1, HasDue: true, Due: day2}, "2026-03-01", "2026-09-01"},
	} {
		c.session.Meter = "4711"
		got := c.session.Calibration("OUT3", today)
		if got.Date.String() != c.date || got.Due.String() != c.due || got.Output != "OUT3" || got.Meter != "4711" {
			t.Errorf("%+v: %+v", c.session, got)
		}
	}
}

// A point of a points file is taken back by back, one of several by its number; a point may
// be accepted.
func TestParsePoints_back(t *testing.T) {
	const a, b, c = "- {meter: 1.00 V, read: 1.01 V}\n", "- {meter: 2.00 V, read: 2.01 V}\n", "- {meter: 9.00 V, read: 2.01 V, accepted: true}\n"
	for _, x := range []struct {
		points   string
		volts    []float64
		accepted bool // the last one
		want     string
	}{
		{a + b, []float64{1, 2}, false, ""},
		{a + c, []float64{1, 9}, true, ""},
		{a + c + "- back\n" + b, []float64{1, 2}, false, ""},
		{a + b + c + "- back 1\n- Back 1\n", []float64{9}, true, ""},
		{a + "- back\n" + b, []float64{2}, false, ""},
		{"- back\n" + a, nil, false, "points[0]: \"back\": there is no point to take back; must come after the point"},
		{a + "- back 2\n", nil, false, "the number of the point must be from 1 to 1"},
		{a + "- back 0\n", nil, false, "the number of the point must be from 1 to 1"},
		{a + "- back two\n", nil, false, "\"two\": the number of the point must be from 1 to 1"},
		{a + "- back 1 2\n", nil, false, "must be a point, as in"},
		{a + "- {meter: 2.00 V, read: 2.01 V, accepted: perhaps}\n", nil, false, "use one of: true, false"},
	} {
		s, err := ParsePoints("p.yaml", []byte("meter: a\naccuracy: 0.5 % + 2 digits\npoints:\n"+x.points))
		if x.want != "" {
			if err == nil || !strings.Contains(err.Error(), x.want) {
				t.Errorf("%s: %v\nwant %s", x.points, err, x.want)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", x.points, err)
			continue
		}
		var volts []float64
		for _, p := range s.Points {
			volts = append(volts, p.Meter.Volts)
		}
		if !slices.Equal(volts, x.volts) || s.Points[len(volts)-1].Accepted != x.accepted {
			t.Errorf("%s: %+v", x.points, s.Points)
		}
	}
}
