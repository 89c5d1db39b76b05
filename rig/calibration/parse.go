package calibration

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/yamlfile"
)

// What the files must hold.
const (
	calibrationRule = "must be date, due, meter, wiring, gain, offset, nonlinearity and points"
	pointRule       = "must be a point, as in {meter: 13.47 V, accuracy: 0.5 % + 2 digits, read: 13.312 V}"
	dayRule         = "must be a day, as in 2026-03-31"
	readingRule     = "must be all digits that the meter showed and their unit, as in 13.40 V"
)

// Parse reads a calibration file. The error is one or more *yamlfile.Error, joined.
func Parse(path string, src []byte) (*File, error) {
	doc, err := yamlfile.Parse(path, src)
	if err != nil {
		return nil, err
	}
	f := &File{Path: path}
	root, ok := doc.Root.Fields("must be rig and outputs")
	if ok {
		f.Rig, _ = root.Need("rig", "bench-1").Text()
		for _, e := range root.Need("outputs", "{OUT1: {…}}").Entries("must be a name and its calibration") {
			f.Calibrations = append(f.Calibrations, readCalibration(doc, e))
		}
		root.Done()
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return f, nil
}

// readCalibration reads an output's calibration and compares it with its points.
func readCalibration(doc *yamlfile.Doc, e yamlfile.Entry) *Calibration {
	c := &Calibration{Output: e.Name()}
	f, ok := e.Value.Fields(calibrationRule)
	if !ok {
		return c
	}
	path := "outputs." + c.Output
	if err := wiring.CheckSignal(c.Output); err != nil {
		doc.ReportKey(path, c.Output, err.Error(), "must be an output's name")
		return c
	}
	c.Date, c.Due = readDay(f.Need("date", "2026-03-31")), readDay(f.Need("due", "2027-03-31"))
	c.Meter = readName(f.Need("meter", "serial 123456"))
	c.By = readName(f.May("by"))
	c.Wiring, _ = f.Need("wiring", "as makebreak rig calibrate writes it").Text()
	stated := Line{Gain: readGain(f.Need("gain", "1.002"))}
	stated.Offset = readVolts(f.Need("offset", "0.0012 V"), -mostVolts)
	c.Nonlinearity = readVolts(f.Need("nonlinearity", "0.0006 V"), 0)
	for _, n := range f.Need("points", "[{meter: 13.47 V, accuracy: 0.5 % + 2 digits, read: 13.312 V}]").Items() {
		p, residual := readPoint(n)
		c.Points, stated.Residuals = append(c.Points, p), append(stated.Residuals, residual)
	}
	if !f.Done() || doc.Refused(path) {
		return c
	}
	if err := c.compare(stated); err != nil {
		doc.Report(path, "", err.Error(), "calibrate again")
	}
	return c
}

// compare draws the line again and refuses a file that says otherwise.
func (c *Calibration) compare(stated Line) error {
	if !c.Date.Before(c.Due) {
		return fmt.Errorf("it falls due on %s, which is not after %s", c.Due, c.Date)
	}
	if len(c.Points) < fewestPoints || len(c.Points) > mostPoints {
		return fmt.Errorf("%d to %d points make a calibration; it has %d", fewestPoints, mostPoints, len(c.Points))
	}
	line, err := draw(c.Points, c.Nonlinearity)
	if err != nil {
		return err
	}
	const volt, share = 2e-6, 2e-9
	same := math.Abs(line.Gain-stated.Gain) <= share && math.Abs(line.Offset-stated.Offset) <= volt
	for i, r := range line.Residuals {
		same = same && math.Abs(r-stated.Residuals[i]) <= volt
	}
	if !same {
		return fmt.Errorf("the points give a gain of %.9f and an offset of %s: the file was changed by hand", line.Gain, volts(microvolts(line.Offset)))
	}
	c.Line = line
	return c.checkResiduals()
}

// readPoint reads a stored point and its residual.
func readPoint(n *yamlfile.Node) (p Point, residual float64) {
	f, ok := n.Fields(pointRule)
	if !ok {
		return p, 0
	}
	p.Meter = readReading(f.Need("meter", "13.47 V"))
	p.Accuracy = readAccuracy(f.Need("accuracy", "0.5 % + 2 digits"))
	p.ReadVolts = readVolts(f.Need("read", "13.312 V"), -mostVolts)
	p.ReadStandard = readVolts(f.Need("uncertainty", "0.0003 V"), 0)
	samples, _ := f.Need("samples", "1000").Whole(1, mostSamples)
	p.N = int(samples)
	residual = readVolts(f.Need("residual", "0.001 V"), -mostVolts)
	p.Accepted, _ = f.May("accepted").Bool()
	f.Done()
	return p, residual
}

const mostSamples = 1e9

func readDay(n *yamlfile.Node) Day {
	s, ok := n.Text()
	if !ok {
		return Day{}
	}
	d, err := ParseDay(s)
	if err != nil {
		n.Refuse("", dayRule)
	}
	return d
}

// readName reads a serial or a person's name.
func readName(n *yamlfile.Node) string {
	s, ok := n.Text()
	if ok && checkText("", s) != nil {
		n.Refuse("", "must be up to 64 printed characters")
	}
	return s
}

func readReading(n *yamlfile.Node) Reading {
	s, ok := n.Text()
	if !ok {
		return Reading{}
	}
	r, err := ParseReading(s)
	if err != nil {
		n.Refuse("", readingRule)
	}
	return r
}

func readAccuracy(n *yamlfile.Node) Accuracy {
	s, ok := n.Text()
	if !ok {
		return Accuracy{}
	}
	a, err := ParseAccuracy(s)
	var bad *accuracyError
	if errors.As(err, &bad) {
		n.Refuse(bad.why.Error(), accuracyRule)
	}
	return a
}

// readVolts reads a voltage from least on.
func readVolts(n *yamlfile.Node, least float64) float64 {
	v, ok := n.Quantity(unit.Voltage)
	if ok && (v < least || v > mostVolts) {
		n.Refuse("", fmt.Sprintf("must be from %s to %s", unit.Voltage.Format(least), unit.Voltage.Format(mostVolts)))
	}
	return v
}

// readGain reads the line's slope, a number without a unit.
func readGain(n *yamlfile.Node) float64 {
	s, ok := n.Text()
	if !ok {
		return 0
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v >= leastGain && v <= mostGain) {
		n.Refuse("", fmt.Sprintf("must be a number from %g to %g", leastGain, mostGain))
	}
	return v
}

// A Session is what is known of a calibration before its line is drawn: what a points file
// holds, or what was asked for.
type Session struct {
	Meter    string
	Accuracy Accuracy // of the meter, for points still to be taken
	Date     Day      // the day on which the points were taken; zero: not said
	Due      Day      // zero: not said
	Dated    bool     // Date is given
	HasDue   bool     // Due is given
	Points   []Point
}

// Calibration makes a calibration of an output of it, to be given to New. It is dated
// today where no day was given, and due a year later.
func (s *Session) Calibration(output string, today Day) Calibration {
	c := Calibration{Output: output, Meter: s.Meter, Date: today, Points: s.Points}
	if s.Dated {
		c.Date = s.Date
	}
	c.Due = c.Date.YearLater()
	if s.HasDue {
		c.Due = s.Due
	}
	return c
}

// ParsePoints reads a points file: what a meter showed and what the rig read without
// calibration, written down before.
//
//	meter: "4711"                # the meter's serial
//	accuracy: 0.5 % + 2 digits   # unless a point has its own
//	date: 2026-03-31             # left out: today
//	due: 2027-03-31              # left out: a year later
//	points:
//	  - {meter: 0.651 V, read: 0.648 V}
//	  - {meter: 13.47 V, read: 13.312 V, uncertainty: 0.4 mV, samples: 860, accuracy: 0.8 % + 3 digits}
//	  - back                     # takes the point before back; back 1: the first one
//
// Where a point has no uncertainty, half a unit of the last digit of what the rig read
// is taken as its half-width. A point with accepted: true may differ from the meter by more
// than tolerances explain. The error is one or more *yamlfile.Error, joined.
func ParsePoints(path string, src []byte) (*Session, error) {
	doc, err := yamlfile.Parse(path, src)
	if err != nil {
		return nil, err
	}
	s := &Session{}
	f, ok := doc.Root.Fields("must be meter, accuracy and points")
	if !ok {
		return nil, doc.Err()
	}
	s.Meter = readName(f.Need("meter", "serial 123456"))
	accuracy := readAccuracy(f.May("accuracy"))
	s.Dated, s.HasDue = f.Has("date"), f.Has("due")
	s.Date, s.Due = readDay(f.May("date")), readDay(f.May("due"))
	for _, n := range f.Need("points", "[{meter: 13.47 V, read: 13.312 V}]").Items() {
		s.readItem(n, accuracy)
	}
	f.Done()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

// readItem reads a point of a points file, or takes one back.
func (s *Session) readItem(n *yamlfile.Node, accuracy Accuracy) {
	if number, back := CutBack(n.Plain()); back {
		if _, err := s.TakeBack(number); err != nil {
			n.Refuse(err.Error(), "must come after the point")
		}
		return
	}
	s.Points = append(s.Points, readGiven(n, accuracy))
}

// CutBack reads "back" and "back 2", which take a point back: its number, or nothing for
// the last one.
func CutBack(answer string) (number string, back bool) {
	words := strings.Fields(answer)
	if len(words) == 0 || len(words) > 2 || !strings.EqualFold(words[0], "back") {
		return "", false
	}
	return strings.Join(words[1:], ""), true
}

// TakeBack removes the point of a number, counted from 1, or the last one for no number.
// Those after it move up.
func (s *Session) TakeBack(number string) (Point, error) {
	if len(s.Points) == 0 {
		return Point{}, errors.New("there is no point to take back")
	}
	n := len(s.Points)
	if number != "" {
		var err error
		if n, err = strconv.Atoi(number); err != nil || n < 1 || n > len(s.Points) {
			return Point{}, fmt.Errorf("%q: the number of the point must be from 1 to %d", number, len(s.Points))
		}
	}
	gone := s.Points[n-1]
	s.Points = slices.Delete(s.Points, n-1, n)
	return gone, nil
}

// readGiven reads a point of a points file.
func readGiven(n *yamlfile.Node, accuracy Accuracy) Point {
	p := Point{Accuracy: accuracy, N: 1}
	f, ok := n.Fields(pointRule)
	if !ok {
		return p
	}
	p.Meter = readReading(f.Need("meter", "13.47 V"))
	read := readReading(f.Need("read", "13.312 V"))
	p.ReadVolts, p.ReadStandard = microvolts(read.Volts), microvoltsUp(read.Digit/2*perSquareRootOf3)
	if a := f.May("accuracy"); a != nil {
		p.Accuracy = readAccuracy(a)
	} else if accuracy.Text == "" {
		n.Fail("this point has no accuracy and the file has none for all", accuracyRule)
	}
	if u := f.May("uncertainty"); u != nil {
		p.ReadStandard = microvoltsUp(readVolts(u, 0))
	}
	if v, ok := f.May("samples").Whole(1, mostSamples); ok {
		p.N = int(v)
	}
	p.Accepted, _ = f.May("accepted").Bool()
	f.Done()
	return p
}
