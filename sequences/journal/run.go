package journal

import (
	"database/sql"
	"fmt"
	"math"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// RunInfo says what a run is of.
type RunInfo struct {
	ID             string // given by Begin: the name, as in "2026-11-25-lumora.1"; see identity.go
	UUID           string // given by Begin: RFC 9562, unique over all logs
	Unit           string
	By             string
	Sequence       string
	SequenceSource string // the sequence's file as it was
	Rig            string
	RigSource      string // the rig's file as it was
	// Started to the nanosecond. Its calendar day, in its own location, begins the ID;
	// it comes back in UTC.
	Started time.Time
	Planned int     // cycles; 0: no number was set
	Seed    *uint64 // of the simulated bench; nil: a real one
	// Faults were planted on the simulated bench; each holds no line feed. nil: a real
	// bench, or one of which it was not kept.
	Faults  []string
	Program string // version
	Notes   string
	Soak    *Retention // nil: not a soak; every capture is kept
	// Calibrations say of each output that is sampled by which calibration its readings are
	// corrected, from the first cycle on; nil: nothing is known.
	Calibrations []capture.Calibration
	// Machine is what is known of the computer at a real bench; nil: nothing is.
	Machine []capture.MachineFact
	// Fields are what the workshop notes with the run, in its order. No two names are alike but
	// for capitals, and no value is empty.
	Fields []Field
}

// RunEnd says how a run ended.
type RunEnd struct {
	Ended    time.Time
	Gravest  analyze.Verdict // of its cycles' verdicts
	Complete bool
	Reason   string                // why it is not complete, in the program's words
	Ending   capture.Ending        // and as data; the zero Ending: it is complete
	Machine  []capture.MachineFact // as RunInfo's, at the end; what is as it was is left out
}

// Cycle is one cycle as the log keeps it.
type Cycle struct {
	N            int       // from 1
	Started      time.Time // zero: not known
	Measurements []analyze.Measurement
	Symptoms     []analyze.Symptom
	Counts       capture.Counts
	// Converters say what converters have of the counts, those with anything counted.
	Converters []capture.ConverterCounts
	Capture    []byte // package capture's binary form; empty: none kept
	Kept       Kept   // why, where the run is a soak
	Verdict    analyze.Verdict
	Complete   bool
	// Calibrations are RunInfo's as they stand at the cycle's beginning; nil: as before.
	Calibrations []capture.Calibration
	// Machine is what was seen of the computer since the cycle before; what is as it was is
	// left out.
	Machine []capture.MachineFact
}

// Run is a run being written. It is used from one goroutine.
type Run struct {
	db   *DB
	row  int64
	info RunInfo
	dict dictionary
	done bool // finished
	// calibrations are those that were stored last.
	calibrations []capture.Calibration
	machine      machineState
	last         int      // number of the last cycle stored
	resumed      *resumed // nil: all that a resume writes is stored
	held         held
}

// Begin starts a run and gives it its ID, one that no other run has or had in this log,
// whichever program wrote it.
func (db *DB) Begin(info RunInfo) (*Run, error) {
	r := &Run{db: db, info: info, dict: newDictionary()}
	r.info.Started = info.Started.UTC()
	started, err := stampOf(info.Started)
	if err == nil && started == nil {
		err = misuse("it has no time of its beginning")
	}
	if err == nil {
		err = checkFields(info.Fields)
	}
	if err != nil {
		return nil, db.fail("begin a run", err)
	}
	err = db.transact(func() error {
		series, count, err := r.identify(info.Started)
		if err != nil {
			return err
		}
		if err := db.lock(runKey(r.info.UUID)); err != nil {
			return err
		}
		if err := r.insertRun(series, count, started); err != nil {
			return err
		}
		if err := r.addCalibrations(1, info.Calibrations); err != nil {
			return err
		}
		if err := r.addMachine(0, info.Machine); err != nil {
			return err
		}
		if err := r.addFields(); err != nil {
			return err
		}
		return r.addSoak()
	})
	if err != nil {
		return nil, db.fail("begin a run", err)
	}
	db.writing(r)
	makeReserve(db.full)
	return r, nil
}

// writing remembers a run that is being written.
func (db *DB) writing(r *Run) {
	db.mu.Lock()
	defer db.mu.Unlock()
	db.runs = append(db.runs, r)
}

// insertRun stores what the run is of, under the name that is given. It runs inside a
// transaction.
func (r *Run) insertRun(series string, count int, started any) error {
	i := &r.info
	return r.db.queryRow(`INSERT INTO run (series, count, uuid, unit, done_by, sequence, sequence_source, rig, rig_source, started, planned, seed, program, notes, faults)
		VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?) RETURNING id`,
		[]any{series, count, i.UUID, i.Unit, i.By, i.Sequence, i.SequenceSource, i.Rig, i.RigSource, started, i.Planned, seedOf(i.Seed), i.Program, i.Notes, linesOf(i.Faults)},
		&r.row)
}

// identify gives the run its name and its UUID. It runs in a transaction.
func (r *Run) identify(started time.Time) (series string, count int, err error) {
	word, err := r.db.word()
	if err != nil {
		return "", 0, err
	}
	series = started.Format("2006-01-02") + "-" + word
	if err := r.db.queryRow("SELECT coalesce(max(count), 0) + 1 FROM name WHERE series = ?", []any{series}, &count); err != nil {
		return "", 0, err
	}
	r.info.ID = fmt.Sprintf("%s.%d", series, count)
	r.info.UUID, err = newUUID()
	return series, count, err
}

// Resume goes on with a run that is not complete. It stores nothing: the run's end goes, and
// the interruption and the version of the program that goes on come, with the first cycle
// that is stored. A run that another program is writing gives ErrTaken and stays as it is.
func (db *DB) Resume(id string, now time.Time, program string) (*Run, error) {
	rec, err := db.Lock(id)
	if err != nil {
		return nil, err
	}
	doing := "resume run " + rec.ID
	if rec.Complete {
		return nil, db.fail(doing, ErrComplete)
	}
	if rec.State.Partial() {
		return nil, db.fail(doing, ErrPart)
	}
	r := &Run{db: db, info: rec.RunInfo}
	if err := r.takeUp(rec); err != nil {
		return nil, err
	}
	was := Interruption{Stopped: rec.Ended, Resumed: now, Reason: rec.Reason, Program: program}
	if rec.Ended.IsZero() {
		was.Reason = cutOff
	}
	was.After = r.last
	if _, err := stampOf(now); err != nil {
		return nil, db.fail(doing, err)
	}
	r.resumed = &resumed{ended: !rec.Ended.IsZero(), gaps: []Interruption{was}}
	db.writing(r)
	makeReserve(db.full)
	return r, nil
}

// takeUp reads back what was stored of the run.
func (r *Run) takeUp(rec *RunRecord) (err error) {
	r.row, r.dict = rec.row, newDictionary()
	if err := r.dict.load(r.db, rec.row); err != nil {
		return rec.fail("read what was measured", err)
	}
	known, err := rec.Calibrations()
	if err != nil {
		return err
	}
	r.calibrations = lastSet(known)
	seen, err := rec.Machine()
	if err != nil {
		return err
	}
	for _, m := range seen {
		r.machine = r.machine.with(m)
	}
	r.last, err = rec.Last()
	return err
}

// ID returns the run's ID.
func (r *Run) ID() string { return r.info.ID }

// Info returns what the run is of.
func (r *Run) Info() RunInfo { return r.info }

// Append stores cycles in one transaction, which is on the disk when Append
// returns without an error; with one, nothing of them is stored. A cycle whose
// number is there already is refused with ErrHaveCycle.
func (r *Run) Append(cycles ...*Cycle) error { return AppendAll([]*Run{r}, [][]*Cycle{cycles}) }

// AppendAll stores cycles of several runs of one log, by the runs' places, as Append does: all of
// them or none.
func AppendAll(runs []*Run, cycles [][]*Cycle) error {
	var all []batch
	for i, r := range runs {
		if len(cycles[i]) > 0 {
			all = append(all, r.batch(cycles[i]))
		}
	}
	if len(all) == 0 {
		return nil
	}
	db, doing := all[0].run.db, all[0].doing()
	if n := len(all) - 1; n > 0 {
		doing += fmt.Sprintf(" and of %d runs beside it", n)
	}
	for _, b := range all {
		if b.run.done {
			return db.fail(b.doing(), misuse("the run has been finished; resume it first"))
		}
	}
	err := db.transact(func() error {
		for _, b := range all {
			if err := b.insert(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		for _, b := range all {
			b.takeBack()
		}
		return db.fail(doing, err)
	}
	for _, b := range all {
		b.run.resumed = nil
		b.run.held.trim(len(all))
	}
	return nil
}

// batch is cycles of a run that are being stored, with the run's state before.
type batch struct {
	run     *Run
	cycles  []*Cycle
	dict    counts
	known   []capture.Calibration
	machine machineState
	last    int
	held    int
}

func (r *Run) batch(cycles []*Cycle) batch {
	return batch{r, cycles, r.dict.mark(), r.calibrations, r.machine, r.last, r.held.mark()}
}

// doing names what is done, for messages.
func (b *batch) doing() string {
	if n := len(b.cycles) - 1; n > 0 {
		return fmt.Sprintf("store cycles %d to %d of run %s", b.cycles[0].N, b.cycles[n].N, b.run.info.ID)
	}
	return fmt.Sprintf("store cycle %d of run %s", b.cycles[0].N, b.run.info.ID)
}

// insert writes the cycles. It runs inside a transaction.
func (b *batch) insert() error {
	if err := b.run.goOn(); err != nil {
		return err
	}
	for _, c := range b.cycles {
		if err := b.run.append(c); err != nil {
			return err
		}
	}
	return nil
}

// takeBack leaves the run as it was, where the transaction has failed.
func (b *batch) takeBack() {
	b.run.dict.forget(b.dict)
	b.run.calibrations, b.run.machine, b.run.last = b.known, b.machine, b.last
	b.run.held.forget(b.held)
}

// append runs inside a transaction. What it adds to the dictionary is to be
// forgotten where that fails.
func (r *Run) append(c *Cycle) error {
	started, err := r.check(c)
	if err != nil {
		return err
	}
	var fresh additions
	rows, err := r.pack(c, &fresh)
	if err != nil {
		return err
	}
	if err := r.insert(c, started, rows, &fresh); err != nil {
		return err
	}
	r.dict.add(&fresh)
	r.held.add(c, rows.measurements)
	if err := r.addCalibrations(c.N, c.Calibrations); err != nil {
		return err
	}
	if err := r.addMachine(r.last, c.Machine); err != nil {
		return err
	}
	if err := r.addConverters(c.Converters); err != nil {
		return err
	}
	r.last = c.N
	return r.makeRoom(c.N)
}

// check refuses a cycle that could not be read back as it is.
func (r *Run) check(c *Cycle) (started any, err error) {
	if c.N < 1 {
		return nil, misuse("its number is %d; cycles count from 1", c.N)
	}
	for i := range c.Measurements {
		if n := c.Measurements[i].Cycle; n != c.N {
			return nil, misuse("measurement %d belongs to cycle %d", i, n)
		}
	}
	for i := range c.Symptoms {
		if n := c.Symptoms[i].Cycle; n != c.N {
			return nil, misuse("symptom %d belongs to cycle %d", i, n)
		}
	}
	return stampOf(c.Started)
}

// measured is one row of the table measurement.
type measured struct {
	point   int
	verdict int
	doubts  any
	numbers []byte
}

// packed is what a cycle's rows need of the dictionary.
type packed struct {
	verdict      int
	measurements []measured
	signs        []int
}

func (r *Run) pack(c *Cycle, fresh *additions) (p packed, err error) {
	if p.verdict, err = gravityOf(c.Verdict); err != nil {
		return p, err
	}
	p.measurements = make([]measured, len(c.Measurements))
	for i := range c.Measurements {
		m := &c.Measurements[i]
		row := &p.measurements[i]
		if row.verdict, err = gravityOf(m.Verdict); err != nil {
			return p, err
		}
		pt := r.dict.pointOf(m, fresh)
		row.point, row.numbers = pt.id, packNumbers(m, pt.numbers)
		row.doubts = r.dict.doubtsOf(m.Doubts, fresh)
	}
	for i := range c.Symptoms {
		p.signs = append(p.signs, r.dict.signOf(&c.Symptoms[i], fresh))
	}
	return p, nil
}

// insert writes a cycle's rows. It runs inside a transaction.
func (r *Run) insert(c *Cycle, started any, p packed, fresh *additions) error {
	var kept any
	if len(c.Capture) > 0 {
		var id int64
		if err := r.db.queryRow("INSERT INTO capture (bytes, why) VALUES (?, ?) RETURNING id", []any{c.Capture, int(c.Kept)}, &id); err != nil {
			return err
		}
		kept = id
	}
	n := c.Counts
	err := r.db.exec("INSERT INTO cycle VALUES (?,?,?,?,?,?,?,?,?,?,?,?)", r.row, c.N, started, p.verdict, c.Complete,
		int64(n.MissedConversions), int64(n.DoubledConversions), int64(n.BusErrors), int64(n.LostEdges), int64(n.ChipResets), kept,
		int64(n.LostReadyEdges))
	if repeated(err) {
		return ErrHaveCycle
	}
	if err != nil {
		return err
	}
	if err := fresh.insert(r.db, r.row); err != nil {
		return err
	}
	for i := range c.Measurements {
		m, row := &c.Measurements[i], &p.measurements[i]
		if err := r.db.exec("INSERT INTO measurement VALUES (?,?,?,?,?,?,?,?,?)", r.row, c.N, i, row.point,
			realOf(m.Value), realOf(m.Expanded), row.verdict, row.doubts, blobOf(row.numbers)); err != nil {
			return err
		}
	}
	for i := range c.Symptoms {
		s := &c.Symptoms[i]
		if err := r.db.exec("INSERT INTO symptom VALUES (?,?,?,?,?,?)", r.row, c.N, i, p.signs[i], realOf(s.Value), realOf(s.Limit)); err != nil {
			return err
		}
	}
	return nil
}

// Finish records how the run ended. A run that was resumed and has stored no cycle since has
// not gone on: where it had an end, and is still not complete, that end stays.
func (r *Run) Finish(end RunEnd) error {
	doing := "finish run " + r.info.ID
	verdict, err := gravityOf(end.Gravest)
	if err != nil {
		return r.db.fail(doing, err)
	}
	ended, err := stampOf(end.Ended)
	if err != nil {
		return r.db.fail(doing, err)
	}
	if ended == nil {
		return r.db.fail(doing, misuse("it has no time of its end"))
	}
	if r.resumed != nil && r.resumed.ended && !end.Complete {
		r.done = true
		return nil
	}
	machine := r.machine
	// An end is stored once for what was stored before it, so it may take of what is kept.
	floor := min(reserveFloor(r.db.full), allocated(reserveOf(r.db.full))/2)
	err = withReserve(r.db.full, floor, func() error {
		return r.db.fail(doing, r.db.transact(func() error {
			r.machine = machine
			if err := r.goOn(); err != nil {
				return err
			}
			if err := r.addMachine(r.last, end.Machine); err != nil {
				return err
			}
			if err := r.addEnding(end.Ending); err != nil {
				return err
			}
			return r.db.exec("UPDATE run SET ended = ?, verdict = ?, complete = ?, reason = ? WHERE id = ?",
				ended, verdict, end.Complete, end.Reason, r.row)
		}))
	})
	if r.done = err == nil; !r.done {
		r.machine = machine
	}
	return err
}

// gravityOf returns the number that stands for a verdict in the log.
func gravityOf(v analyze.Verdict) (int, error) {
	n := v.Gravity()
	if analyze.Verdicts[n] != v {
		return 0, misuse("%q is not a verdict of figures", v)
	}
	return n, nil
}

func verdictOf(gravity int) (analyze.Verdict, error) {
	if gravity < 0 || gravity >= len(analyze.Verdicts) {
		return "", fmt.Errorf("%w: verdict %d, where 0 to %d must be", ErrCorrupt, gravity, len(analyze.Verdicts)-1)
	}
	return analyze.Verdicts[gravity], nil
}

// The first and the last time that nanoseconds in 64 bits hold.
var (
	firstTime = time.Unix(0, math.MinInt64)
	lastTime  = time.Unix(0, math.MaxInt64)
)

// stampOf returns a time in nanoseconds since 1970, nil for the zero time.
func stampOf(t time.Time) (any, error) {
	if t.IsZero() {
		return nil, nil
	}
	if t.Before(firstTime) || t.After(lastTime) {
		return nil, fmt.Errorf("the time %v cannot be stored", t)
	}
	return t.UnixNano(), nil
}

func timeOf(ns sql.NullInt64) time.Time {
	if !ns.Valid {
		return time.Time{}
	}
	return time.Unix(0, ns.Int64).UTC()
}

// realOf returns NULL for NaN, which SQLite has no value for.
func realOf(x float64) any {
	if math.IsNaN(x) {
		return nil
	}
	return x
}

func floatOf(x sql.NullFloat64) float64 {
	if !x.Valid {
		return math.NaN()
	}
	return x.Float64
}

// linesOf writes texts one a line, NULL where there is no list.
func linesOf(texts []string) any {
	if texts == nil {
		return nil
	}
	return strings.Join(texts, "\n")
}

func textsOf(lines sql.NullString) []string {
	switch {
	case !lines.Valid:
		return nil
	case lines.String == "":
		return []string{}
	}
	return strings.Split(lines.String, "\n")
}

func blobOf(b []byte) any {
	if len(b) == 0 {
		return nil
	}
	return b
}
