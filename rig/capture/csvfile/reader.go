package csvfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
)

const (
	// maxLine is the longest row read, in bytes.
	maxLine = 1 << 20
	// foreseen is how many bytes below the header are looked at beforehand.
	foreseen = 32 << 10
)

// Reader reads a capture from comma separated values (RFC 4180), row by row and
// once, so that a file of any size, or a pipe, can be measured in little memory:
// whoever reads takes one event after another and discards what is done with.
//
// The header row names the columns. The first is time_s: seconds, rising. A
// name that ends in _V is a voltage in volts at the unit's terminal; event
// holds the name of an event on the row of its instant; every other column is
// a contact, reference or drive, 0 or 1, written on the first row and where it
// changes. A column samples_kept is written likewise and names no line: 0 from where
// samples were left out on purpose, 1 from where they go on, see Capture.Kept. Nor does a
// column as K1_NO_lost beside one K1_NO: 1 from where edges of that line may be lost, 0 from
// where they are not, see Track.Losses. An empty cell says nothing. Rows may share a time as long as none
// writes what another has written.
type Reader struct {
	src  io.Reader
	name string

	buf     []byte
	lo, hi  int // what is read and not yet taken
	scanned int // of that, where no line end was found
	lineNo  int // of the row taken last, from 1
	done    bool
	err     error // sticky

	columns []column
	capture *capture.Capture
	begun   bool
	last    int64 // time of the row before
	origin  Origin
	keeping bool // samples are being kept, by the last word of it; see enterKept

	unknownFaults bool // by the file nobody knows whether faults were planted
	losing        bool // a column says when edges may be lost

	cells [][]byte // of a row that is not plain
	got   []found  // what the row writes

	places    int // of time: the most decimal places seen in plain notation
	sciDigits int // the most digits after the point in scientific notation
	sciPlaces int // the fewest places that these left, see timePlaces
}

// found is one cell that says something.
type found struct {
	column int
	volts  float64
	places int
	closed bool
	event  []byte
}

// NewReader reads the header row and returns the reader. Name is the file's name,
// for errors. Averaged says that each voltage is the mean over that time before
// its instant, as a converting ADC gives it; zero: the value at the instant.
func NewReader(r io.Reader, name string, averaged time.Duration) (*Reader, error) {
	if averaged < 0 {
		return nil, problem.Of(problem.Usage, fmt.Errorf("%s: a time of averaging of %v: must be 0 s or more", name, averaged))
	}
	rd := &Reader{src: r, name: name, buf: make([]byte, 64<<10), capture: &capture.Capture{}, places: -1, sciPlaces: math.MaxInt}
	if err := rd.readHeader(averaged); err != nil {
		return nil, err
	}
	return rd, nil
}

func (r *Reader) readHeader(averaged time.Duration) error {
	row, err := r.nextLine()
	if err == io.EOF {
		return r.fileError("the file is empty", "begin with a header row whose first column is "+timeName)
	}
	if err != nil {
		return err
	}
	if bytes.HasPrefix(row, []byte{0xFF, 0xFE}) || bytes.HasPrefix(row, []byte{0xFE, 0xFF}) {
		return r.fileError("the text is UTF-16", "save it as UTF-8")
	}
	row = bytes.TrimPrefix(row, []byte{0xEF, 0xBB, 0xBF})
	if err := r.split(row); err != nil {
		return err
	}
	names := make([]string, len(r.cells))
	for i, c := range r.cells {
		names[i] = string(c)
	}
	columns, err := header(names)
	var syntax *SyntaxError
	if errors.As(err, &syntax) {
		syntax.File, syntax.Line = r.name, r.lineNo
	}
	if err != nil {
		return err
	}
	r.columns = columns
	r.addSignals(averaged)
	return r.foresee()
}

// foresee looks at the times of the first rows, without taking them, for how
// finely they are written: the first event can be on a row with few digits.
func (r *Reader) foresee() error {
	for !r.done && r.hi-r.lo < foreseen {
		if err := r.fill(); err != nil {
			return err
		}
	}
	ahead := r.buf[r.lo:min(r.hi, r.lo+foreseen)]
	for len(ahead) > 0 {
		end := bytes.IndexByte(ahead, '\n')
		if end < 0 {
			break // what is cut off here would depend on how much was read
		}
		cell, _, _ := bytes.Cut(ahead[:end], []byte{','})
		if w, ok := parseWritten(bytes.TrimSpace(cell)); ok {
			r.finerTime(r.timePlaces(w))
		}
		ahead = ahead[end+1:]
	}
	return nil
}

// addSignals gives each column its trace or track.
func (r *Reader) addSignals(averaged time.Duration) {
	for i := range r.columns {
		c := &r.columns[i]
		_, signal := kindOf(c.name)
		switch c.kind {
		case voltsColumn:
			c.places = -1
			c.trace = capture.NewTrace(signal, capture.Converter{Span: averaged})
			r.capture.Traces = append(r.capture.Traces, c.trace)
		case stateColumn:
			c.track = &capture.Track{Signal: signal}
			r.capture.Tracks = append(r.capture.Tracks, c.track)
		case lostColumn:
			r.losing = true
		}
	}
}

// Capture returns the capture being filled. Between calls its user may discard
// from it what has been measured. Its Start is the first row's time, its End the
// time of the last row read.
func (r *Reader) Capture() *capture.Capture { return r.capture }

// Next reads on up to the next event's row and returns the event, which the
// capture holds as well; what follows the event is not read yet. At the end of
// the file the error is io.EOF. Any other error ends the reading for good.
func (r *Reader) Next() (capture.Event, error) {
	for {
		e, found, err := r.Advance(math.MaxInt)
		if err != nil || found {
			return e, err
		}
	}
}

// Advance is Next for files that may go on for long without an event: it returns
// after at most the given number of rows, with found false where none of them
// held an event.
func (r *Reader) Advance(rows int) (e capture.Event, found bool, err error) {
	if r.err != nil {
		return capture.Event{}, false, r.err
	}
	for range rows {
		event, err := r.readRow()
		if err != nil {
			r.err = err
			return capture.Event{}, false, err
		}
		if event {
			return r.capture.Events[len(r.capture.Events)-1], true, nil
		}
	}
	return capture.Event{}, false, nil
}

// readRow takes one row in and tells whether it held an event.
func (r *Reader) readRow() (event bool, err error) {
	row, err := r.nextLine()
	if err == io.EOF && !r.begun {
		return false, r.fileError("there are no rows below the header", "add rows that begin with a time")
	}
	if err != nil {
		return false, err
	}
	ns, places, ok := r.plainRow(row)
	if !ok {
		if len(bytes.Trim(row, ", \t")) == 0 {
			return false, nil // an empty row, as spreadsheets leave them at the end
		}
		if ns, places, err = r.carefulRow(row); err != nil {
			return false, err
		}
	}
	return r.enter(ns, places)
}

// plainRow reads a row of plain decimal numbers into r.got. It is the fast path:
// ok is false for whatever else a row may be, right or wrong, and nothing has
// been kept then.
func (r *Reader) plainRow(row []byte) (ns int64, places int, ok bool) {
	r.got = r.got[:0]
	d, p := scanDecimal(row)
	if p == 0 {
		return 0, 0, false
	}
	if ns, ok = d.ns(); !ok {
		return 0, 0, false
	}
	places = d.places
	for i := 1; i < len(r.columns); i++ {
		if p >= len(row) {
			return 0, 0, false
		}
		p++ // the comma
		if p == len(row) || row[p] == ',' {
			continue
		}
		f := found{column: i}
		n := r.plainCell(&f, row[p:])
		if n == 0 {
			return 0, 0, false
		}
		r.got = append(r.got, f)
		p += n
	}
	return ns, places, p == len(row)
}

// plainCell reads the cell at the beginning of b and returns its length, 0 where
// the careful path must look at it.
func (r *Reader) plainCell(f *found, b []byte) int {
	switch r.columns[f.column].kind {
	case voltsColumn:
		d, n := scanDecimal(b)
		if n == 0 {
			return 0
		}
		v, ok := d.float()
		if !ok || v > maxVolts || v < -maxVolts {
			return 0
		}
		f.volts, f.places = v, d.places
		return n
	case stateColumn, keptColumn, lostColumn, originColumn:
		if b[0]&^1 != '0' || len(b) > 1 && b[1] != ',' {
			return 0
		}
		f.closed = b[0] == '1'
		return 1
	default:
		n := bytes.IndexByte(b, ',')
		if n < 0 {
			n = len(b)
		}
		if f.event = b[:n]; !eventOK(f.event) {
			return 0
		}
		return n
	}
}

// carefulRow reads any row into r.got, or says what is wrong with it.
func (r *Reader) carefulRow(row []byte) (ns int64, places int, err error) {
	r.got = r.got[:0]
	if err := r.split(row); err != nil {
		return 0, 0, err
	}
	if len(r.cells) != len(r.columns) {
		return 0, 0, &SyntaxError{File: r.name, Line: r.lineNo, Read: fmt.Sprintf("%d cells", len(r.cells)),
			Remedy: fmt.Sprintf("must have %d, as many as the header", len(r.columns))}
	}
	w, ok := parseWritten(r.cells[0])
	if ok {
		ns, ok = w.ns()
	}
	if !ok {
		return 0, 0, r.cellError(0)
	}
	for i := 1; i < len(r.columns); i++ {
		if len(r.cells[i]) == 0 {
			continue
		}
		if err := r.carefulCell(i); err != nil {
			return 0, 0, err
		}
	}
	return ns, r.timePlaces(w), nil
}

// timePlaces returns how many decimal places of a second the time is written
// to. In scientific notation the digits stay and the place moves: it is the
// fewest places so far that count, for an uncertainty that covers all rows.
func (r *Reader) timePlaces(w written) int {
	if !w.scientific {
		return len(w.dec)
	}
	r.sciDigits = max(r.sciDigits, len(w.dec))
	if !w.zero() {
		r.sciPlaces = min(r.sciPlaces, max(0, r.sciDigits-w.exponent))
	}
	if r.sciPlaces == math.MaxInt {
		return r.sciDigits
	}
	return r.sciPlaces
}

// carefulCell reads a cell that is not empty.
func (r *Reader) carefulCell(i int) error {
	f := found{column: i}
	cell := r.cells[i]
	ok := true
	switch c := &r.columns[i]; c.kind {
	case voltsColumn:
		if bytes.EqualFold(cell, []byte("nan")) {
			c.trace.Missing++
			return nil
		}
		f.volts, f.places, ok = carefulVolts(cell)
		ok = ok && math.Abs(f.volts) <= maxVolts
	case stateColumn, keptColumn, lostColumn, originColumn:
		// A spreadsheet or a table with gaps may write 1.0 for 1.
		var v float64
		v, _, ok = carefulVolts(cell)
		ok = ok && (v == 0 || v == 1)
		f.closed = v == 1
	case eventColumn:
		f.event = cell
		ok = eventOK(cell)
	}
	if !ok {
		return r.cellError(i)
	}
	r.got = append(r.got, f)
	return nil
}

// enter takes into the capture what the row wrote.
func (r *Reader) enter(ns int64, places int) (event bool, err error) {
	if !r.begun {
		r.begun = true
		r.capture.Start = capture.Instant(ns)
	} else if ns <= r.last {
		if err := r.checkRepeated(ns); err != nil {
			return false, err
		}
	}
	r.last = ns
	r.capture.End = capture.Instant(ns)
	if r.losing {
		r.goOnLosing(capture.Instant(ns))
	}
	if r.keeping {
		r.capture.Kept[len(r.capture.Kept)-1].To = capture.Instant(ns)
	}
	if places != r.places {
		r.finerTime(places)
	}
	for k := range r.got {
		f := &r.got[k]
		c := &r.columns[f.column]
		c.at, c.written = ns, true
		switch c.kind {
		case voltsColumn:
			if f.places > c.places {
				c.places, c.steps.unit = f.places, stepOf(f.places)
				c.trace.Converter.StepVolts, c.trace.Converter.WrittenVolts = c.steps.volts(), c.steps.unit
			}
			if c.steps.take(f.volts) {
				c.trace.Converter.StepVolts = c.steps.volts()
			}
			c.trace.Append(capture.Instant(ns), f.volts)
		case stateColumn:
			r.enterState(c.track, capture.Instant(ns), f.closed)
		case keptColumn:
			r.enterKept(capture.Instant(ns), f.closed)
		case lostColumn:
			r.enterLost(c, capture.Instant(ns), f.closed)
		case originColumn:
			r.enterOrigin(c.name, f.closed)
		case eventColumn:
			event = true
			r.capture.AddEvent(capture.Event{Name: string(f.event), At: capture.Instant(ns), Uncertainty: r.stamp(), Timed: "file"})
		}
	}
	return event, nil
}

// enterState takes in a line's state. On the first row it is the state at the
// start; later it is an edge where the state changed, or where nothing was
// known before.
func (r *Reader) enterState(t *capture.Track, at capture.Instant, closed bool) {
	was, known := t.Initial, t.Known
	if n := len(t.Edges); n > 0 {
		was, known = t.Edges[n-1].Closed, true
	}
	switch {
	case !known && at == r.capture.Start:
		t.Known, t.Initial = true, closed
	case !known || was != closed:
		r.capture.AddEdge(t, capture.Edge{At: at, Closed: closed})
	}
}

// enterKept takes in from where on samples were kept or left out. Until the first were
// left out they were kept, whether the file says so or not.
func (r *Reader) enterKept(at capture.Instant, kept bool) {
	c := r.capture
	switch {
	case c.Kept == nil && kept:
		return
	case c.Kept == nil && at > c.Start:
		c.Kept = []capture.Span{{From: c.Start, To: at}}
	case c.Kept == nil:
		c.Kept = []capture.Span{}
	case kept && !r.keeping:
		c.Kept = append(c.Kept, capture.Span{From: at, To: at})
	}
	r.keeping = kept
}

// checkRepeated refuses a row whose time runs backwards, or stands still while
// it writes what was already written at that time.
func (r *Reader) checkRepeated(ns int64) error {
	if ns < r.last {
		return r.columnError(0, secondsText(ns)+" after "+secondsText(r.last), "must be later than the row before")
	}
	for _, f := range r.got {
		if c := &r.columns[f.column]; c.written && c.at == ns {
			return r.columnError(f.column, "a second entry at "+secondsText(ns),
				"leave it out: rows with one time must write different columns")
		}
	}
	return nil
}

func secondsText(ns int64) string { return string(appendSeconds(nil, ns, 9)) + " s" }

// finerTime takes in how finely a row's time is written. Programs that drop zeros
// at the end write some rows with fewer places, so the most seen count.
func (r *Reader) finerTime(places int) {
	if places <= r.places && r.sciPlaces == math.MaxInt {
		return
	}
	r.places = places
	for _, t := range r.capture.Traces {
		t.Converter.Stamp = r.stamp()
	}
	for _, t := range r.capture.Tracks {
		t.Stamp = r.stamp()
	}
}

func (r *Reader) stamp() time.Duration { return roundingOf(r.places) }

// split splits a row into r.cells.
func (r *Reader) split(row []byte) error {
	var n int
	var ok bool
	r.cells, n, ok = splitCells(r.cells[:0], row)
	if !ok {
		return &SyntaxError{File: r.name, Line: r.lineNo, Column: n, Read: excerpt(row),
			Remedy: "end a quoted cell with a quote on the same row, before a comma or the row's end"}
	}
	return nil
}

// cellError says what the cell must hold.
func (r *Reader) cellError(i int) error {
	must := ""
	switch r.columns[i].kind {
	case timeColumn:
		must = "must be seconds from -9.2e9 to 9.2e9 with a decimal point, such as 0.001199"
	case voltsColumn:
		must = "must be volts from -1e5 to 1e5 with a decimal point, such as 12.05, or empty where there is no reading"
	case keptColumn:
		must = "must be 0 (samples are left out from here on) or 1 (they are kept), or empty where that does not change"
	case originColumn:
		must = "must be 1 (so it is: nothing real was measured) or 0, or empty below the first row"
	case lostColumn:
		must = "must be 1 (edges of the line may be lost from here on) or 0 (none are), or empty where that does not change"
	case stateColumn:
		must = "must be 0 (open, inactive) or 1 (closed, active), or empty where the line does not change; volts belong in a column whose name ends in " + voltsEnd
	case eventColumn:
		must = "must be an event's name such as arm-away (a letter, then letters, digits, -, _ and ., up to 64 in all), or empty"
	}
	return r.columnError(i, excerpt(r.cells[i]), must)
}

func (r *Reader) columnError(i int, read, remedy string) error {
	return &SyntaxError{File: r.name, Line: r.lineNo, Column: i + 1, Name: r.columns[i].name, Read: read, Remedy: remedy}
}

func (r *Reader) fileError(read, remedy string) error {
	return &SyntaxError{File: r.name, Read: read, Remedy: remedy}
}

// nextLine returns the next row without its line end. The bytes stay valid until
// the next call. At the end of the file the error is io.EOF.
func (r *Reader) nextLine() ([]byte, error) {
	for {
		if i := bytes.IndexByte(r.buf[r.scanned:r.hi], '\n'); i >= 0 {
			row := r.buf[r.lo : r.scanned+i]
			r.lo = r.scanned + i + 1
			r.scanned = r.lo
			return r.endRow(row)
		}
		r.scanned = r.hi
		if r.hi-r.lo > maxLine {
			return r.endRow(r.buf[r.lo:r.hi])
		}
		if r.done {
			row := r.buf[r.lo:r.hi]
			r.lo = r.hi
			if len(row) == 0 {
				return nil, io.EOF
			}
			return r.endRow(row)
		}
		if err := r.fill(); err != nil {
			return nil, err
		}
	}
}

// endRow counts a row and takes its carriage return off.
func (r *Reader) endRow(row []byte) ([]byte, error) {
	r.lineNo++
	if len(row) > maxLine {
		return nil, &SyntaxError{File: r.name, Line: r.lineNo, Read: "a row longer than 1 MiB",
			Remedy: "write one row for each instant"}
	}
	if n := len(row); n > 0 && row[n-1] == '\r' {
		row = row[:n-1]
	}
	return row, nil
}

// fill reads more into the buffer, and makes room first.
func (r *Reader) fill() error {
	if r.lo > 0 {
		copy(r.buf, r.buf[r.lo:r.hi])
		r.hi -= r.lo
		r.scanned -= r.lo
		r.lo = 0
	}
	if r.hi == len(r.buf) {
		r.buf = append(r.buf, make([]byte, len(r.buf))...)
	}
	for range 100 {
		n, err := r.src.Read(r.buf[r.hi:])
		r.hi += n
		if err == io.EOF {
			r.done = true
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s: after line %d: %w", r.name, r.lineNo, err)
		}
		if n > 0 {
			return nil
		}
	}
	return fmt.Errorf("%s: after line %d: %w", r.name, r.lineNo, io.ErrNoProgress)
}
