package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// RunSummary is one line of the list of runs.
type RunSummary struct {
	Run      string          `json:"run"`
	UUID     string          `json:"run_id"`
	Unit     string          `json:"unit"`
	Sequence string          `json:"sequence"`
	Started  time.Time       `json:"started"`
	Cycles   int             `json:"cycles"` // complete ones
	Planned  int             `json:"-"`
	Verdict  analyze.Verdict `json:"verdict"` // by analyze.RunVerdict
	// Complete is false for a run that ended early, was cut off or still goes on.
	Complete  bool    `json:"complete"`
	Simulated bool    `json:"simulated"` // run on the simulated bench
	Soak      bool    `json:"-"`         // it can be resumed by its policy
	State     State   `json:"-"`
	Fields    []Field `json:"-"`
	Reference bool    `json:"-"` // it is the reference of its kind

	gravest analyze.Verdict
	row     int64
}

// summaryColumns are what scanSummary reads. The gravest verdict of a run that has not ended is
// that of its cycles so far.
var summaryColumns = summaryWith("(SELECT count(*) FROM cycle WHERE cycle.run = run.id AND cycle.complete)",
	"CASE WHEN ended IS NULL THEN coalesce((SELECT max(verdict) FROM cycle WHERE cycle.run = run.id), 0) ELSE verdict END")

// summaryWith are the columns of a summary, by how its cycles and its gravest verdict are found.
func summaryWith(cycles, gravest string) string {
	return itsName + ", uuid, unit, sequence, started, planned, complete, " + cycles + ", " + gravest +
		`, EXISTS (SELECT 1 FROM soak WHERE soak.run = run.id), state, seed IS NOT NULL, EXISTS (SELECT 1 FROM reference WHERE reference.run = run.id), id`
}

// Runs returns all runs, the newest first.
func (db *DB) Runs() ([]RunSummary, error) {
	rows, err := db.read.Query("SELECT " + summaryColumns + " FROM run ORDER BY id DESC")
	if err != nil {
		return nil, db.fail("list the runs", err)
	}
	defer rows.Close()
	runs := []RunSummary{}
	for rows.Next() {
		s, err := scanSummary(func(into ...any) error { return scanRow(rows, "run", into...) })
		if err != nil {
			return nil, db.fail("list the runs", err)
		}
		runs = append(runs, s)
	}
	fields, err := db.fieldsWhere("TRUE")
	for i := range runs {
		runs[i].Fields = fields[runs[i].row]
	}
	return runs, db.fail("list the runs", errors.Join(rows.Err(), err))
}

func scanSummary(scan func(...any) error, more ...any) (s RunSummary, err error) {
	var started sql.NullInt64
	var gravity int
	into := append([]any{&s.Run, &s.UUID, &s.Unit, &s.Sequence, &started, &s.Planned, &s.Complete, &s.Cycles, &gravity, &s.Soak, &s.State, &s.Simulated, &s.Reference, &s.row}, more...)
	if err := scan(into...); err != nil {
		return s, err
	}
	s.Started = timeOf(started)
	if err := inRange("run", "planned", int64(s.Planned), 0); err != nil {
		return s, err
	}
	if err := s.State.check(); err != nil {
		return s, err
	}
	s.gravest, err = verdictOf(gravity)
	s.Verdict = analyze.RunVerdict(s.Complete, s.gravest)
	return s, err
}

// RunRecord is a run in the log. Its streams read the log as it is when they
// begin, can be gone through any number of times and hold little of it in memory.
type RunRecord struct {
	RunInfo
	Ended    time.Time       // zero: not ended
	Verdict  analyze.Verdict // by analyze.RunVerdict
	Gravest  analyze.Verdict // of its cycles' verdicts
	Complete bool
	State    State
	Reason   string // why it is not complete, as the program that wrote it said; see WhyIncomplete
	// Ending is that as data; the zero Ending: it is complete, or goes on, or is older.
	Ending capture.Ending
	Cycles int // complete ones
	Counts capture.Counts
	// Converters say what converters have of the counts, by their names; nil: nothing, or it was
	// not kept.
	Converters []capture.ConverterCounts
	Marked     bool // it is the reference of its kind

	db  *DB
	row int64
}

// Find returns the run that is called by its ID, by its UUID, or by its day and its count
// where no other run has both; "last" is the newest. An unknown ID gives ErrNoRun with the
// IDs that come near to it.
func (db *DB) Find(id string) (*RunRecord, error) {
	if id == "last" {
		return db.find(id, "id = (SELECT max(id) FROM run)")
	}
	rec, err := db.find(id, hasName, id)
	if !errors.Is(err, ErrNoRun) {
		return rec, err
	}
	name, nameErr := db.nameOf(id)
	if nameErr != nil {
		return nil, db.fail(fmt.Sprintf("find run %q", id), nameErr)
	}
	if name == "" {
		return nil, err
	}
	return db.find(name, hasName, name)
}

const (
	itsName = "series || '.' || count"
	hasName = itsName + " = ?"
)

// find returns the run that a condition picks; errors call it by its ID.
func (db *DB) find(id, where string, args ...any) (*RunRecord, error) {
	rec := &RunRecord{db: db}
	var ended, seed sql.NullInt64
	var faults sql.NullString
	row := db.row("SELECT "+summaryColumns+
		", done_by, sequence_source, rig, rig_source, seed, program, notes, faults, ended, reason FROM run WHERE "+where, args...)
	s, err := scanSummary(func(into ...any) error { return row.scan("run", into...) }, &rec.By, &rec.SequenceSource, &rec.Rig, &rec.RigSource, &seed, &rec.Program, &rec.Notes, &faults, &ended, &rec.Reason)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, db.noRun(id)
	}
	if err != nil {
		return nil, db.fail("find run "+id, err)
	}
	rec.row, rec.ID, rec.UUID, rec.Unit, rec.Sequence, rec.Started, rec.Planned = s.row, s.Run, s.UUID, s.Unit, s.Sequence, s.Started, s.Planned
	rec.Verdict, rec.Gravest, rec.Complete, rec.State, rec.Cycles = s.Verdict, s.gravest, s.Complete, s.State, s.Cycles
	rec.Marked = s.Reference
	rec.Ended, rec.Faults = timeOf(ended), textsOf(faults)
	if seed.Valid {
		u := uint64(seed.Int64)
		rec.Seed = &u
	}
	rec.Fields, err = db.fieldsOf(rec.row)
	return rec, db.fail("find run "+id, errors.Join(err, rec.sumCounts(), rec.loadSoak(), rec.loadEnding(), rec.loadConverters()))
}

// sumCounts adds up the measuring problems of all cycles.
func (rec *RunRecord) sumCounts() error {
	n := make([]int64, 6)
	err := rec.db.row(`SELECT coalesce(sum(missed_conversions), 0), coalesce(sum(doubled_conversions), 0), coalesce(sum(bus_errors), 0),
		coalesce(sum(lost_edges), 0), coalesce(sum(chip_resets), 0), coalesce(sum(lost_ready), 0) FROM cycle WHERE run = ?`, rec.row).scan("cycle", &n[0], &n[1], &n[2], &n[3], &n[4], &n[5])
	if err == nil {
		rec.Counts, err = countsOf(n)
	}
	return err
}

// countColumns are those of a cycle's counts.
var countColumns = [...]string{"missed_conversions", "doubled_conversions", "bus_errors", "lost_edges", "chip_resets", "lost_ready"}

func countsOf(n []int64) (c capture.Counts, err error) {
	for i, column := range countColumns {
		if err := inRange("cycle", column, n[i], 0); err != nil {
			return c, err
		}
	}
	return capture.Counts{MissedConversions: uint64(n[0]), DoubledConversions: uint64(n[1]), BusErrors: uint64(n[2]),
		LostEdges: uint64(n[3]), ChipResets: uint64(n[4]), LostReadyEdges: uint64(n[5])}, nil
}

// nearIDs is how many IDs the error for an unknown one names.
const nearIDs = 3

// noRun says that there is no such run, and which there are.
func (db *DB) noRun(id string) error {
	doing := fmt.Sprintf("find run %q", id)
	var removed bool
	if err := db.read.QueryRow("SELECT EXISTS (SELECT 1 FROM name WHERE "+hasName+")", id).Scan(&removed); err != nil {
		return db.fail(doing, err)
	}
	if removed {
		return db.fail(doing, fmt.Errorf("%w any more: it was removed from this log", ErrNoRun))
	}
	runs, err := db.listNames("ORDER BY id DESC LIMIT 1000")
	if err != nil {
		return db.fail(doing, err)
	}
	if len(runs) == 0 {
		return db.fail(doing, fmt.Errorf("%w: the log holds none", ErrNoRun))
	}
	if near := words.Nearest(id, runs); len(near) > 0 {
		runs = near
	}
	return db.fail(doing, fmt.Errorf("%w; near it are %s; \"last\" is the newest", ErrNoRun, words.List(runs[:min(nearIDs, len(runs))])))
}

// Stored returns which cycles are stored, as spans without gaps, rising.
func (rec *RunRecord) Stored() ([]analyze.Cycles, error) { return rec.spans("list the cycles", "") }

// Captured is Stored for the cycles of which a capture is kept.
func (rec *RunRecord) Captured() ([]analyze.Cycles, error) {
	return rec.spans("list the captures", "AND capture IS NOT NULL")
}

// spans returns the cycles that meet a further condition.
func (rec *RunRecord) spans(doing, condition string) ([]analyze.Cycles, error) {
	rows, err := rec.db.read.Query(`SELECT min(n), max(n) FROM (SELECT n, n - row_number() OVER (ORDER BY n) AS island FROM cycle
		WHERE run = ? `+condition+`) GROUP BY island ORDER BY island`, rec.row)
	if err != nil {
		return nil, rec.fail(doing, err)
	}
	defer rows.Close()
	var spans []analyze.Cycles
	for rows.Next() {
		var s analyze.Cycles
		if err := scanRow(rows, "cycle", &s.First, &s.Last); err != nil {
			return nil, rec.fail(doing, err)
		}
		spans = append(spans, s)
	}
	return spans, rec.fail(doing, rows.Err())
}

func (rec *RunRecord) fail(doing string, err error) error {
	return rec.db.fail(doing+" of run "+rec.ID, err)
}

// Measurements streams all figures by cycle, and within one in the order in which
// they were appended.
func (rec *RunRecord) Measurements() iter.Seq2[analyze.Measurement, error] {
	return rec.MeasurementsIn(analyze.Cycles{First: 1, Last: math.MaxInt})
}

// MeasurementsIn is Measurements for some cycles.
func (rec *RunRecord) MeasurementsIn(s analyze.Cycles) iter.Seq2[analyze.Measurement, error] {
	return func(yield func(analyze.Measurement, error) bool) {
		points, doubts := pointReader{rec: rec}, doubtReader{rec: rec}
		stream(rec, "read the measurements", `SELECT cycle, point, value, expanded, verdict, numbers, doubts
			FROM measurement WHERE run = ? AND cycle BETWEEN ? AND ? ORDER BY cycle, seq`, s,
			func(rows *sql.Rows) (analyze.Measurement, error) { return scanMeasurement(rows, &points, &doubts) }, yield)
	}
}

// stream yields the rows of a query that takes the run and a span of cycles.
func stream[T any](rec *RunRecord, doing, query string, s analyze.Cycles, scan func(*sql.Rows) (T, error), yield func(T, error) bool) {
	var none T
	rows, err := rec.db.read.Query(query, rec.row, s.First, s.Last)
	if err != nil {
		yield(none, rec.fail(doing, err))
		return
	}
	defer rows.Close()
	for rows.Next() {
		x, err := scan(rows)
		if err != nil {
			yield(none, rec.fail(doing, err))
			return
		}
		if !yield(x, nil) {
			return
		}
	}
	if err := rows.Err(); err != nil {
		yield(none, rec.fail(doing, err))
	}
}

// pointReader holds a run's points while its figures are streamed.
type pointReader struct {
	rec    *RunRecord
	points []*point
}

// get returns a point. A run that goes on gains points, so they are read again
// for one that is not held.
func (r *pointReader) get(id int) (p *point, err error) {
	if id >= len(r.points) {
		if r.points, err = loadPoints(r.rec.db.read, r.rec.row); err != nil {
			return nil, err
		}
	}
	if id < 0 || id >= len(r.points) {
		return nil, fmt.Errorf("%w: a figure refers to point %d of %d", ErrCorrupt, id, len(r.points))
	}
	return r.points[id], nil
}

// Limited returns what says whether the run has figures of a signal's quantity that were held
// against a limit.
func (rec *RunRecord) Limited() (func(signal string, q analyze.Quantity) bool, error) {
	points, err := loadPoints(rec.db.read, rec.row)
	if err != nil {
		return nil, rec.fail("read what was measured", err)
	}
	return func(signal string, q analyze.Quantity) bool {
		return slices.ContainsFunc(points, func(p *point) bool { return p.signal == signal && p.quantity == q && !p.limit.None() })
	}, nil
}

func scanMeasurement(rows *sql.Rows, points *pointReader, doubts *doubtReader) (m analyze.Measurement, err error) {
	var at, gravity int
	var value, expanded sql.NullFloat64
	var numbers []byte
	var list sql.NullInt64
	if err := scanRow(rows, "measurement", &m.Cycle, &at, &value, &expanded, &gravity, &numbers, &list); err != nil {
		return m, err
	}
	p, err := points.get(at)
	if err != nil {
		return m, err
	}
	m.Event, m.Signal, m.Quantity, m.Limit, m.Budget = p.event, p.signal, p.quantity, p.limit, p.budget()
	m.Value, m.Expanded = floatOf(value), floatOf(expanded)
	if list.Valid {
		if m.Doubts, err = doubts.get(int(list.Int64)); err != nil {
			return m, err
		}
	}
	if m.Verdict, err = verdictOf(gravity); err != nil {
		return m, err
	}
	return m, unpackNumbers(&m, p.numbers, numbers)
}

// Symptoms streams all symptoms by cycle, and within one in the order in which
// they were appended.
func (rec *RunRecord) Symptoms() iter.Seq2[analyze.Symptom, error] {
	return func(yield func(analyze.Symptom, error) bool) {
		stream(rec, "read the symptoms", `SELECT m.cycle, s.event, s.signal, s.kind, s.other, m.value, m.bound
			FROM symptom m JOIN sign s ON s.run = m.run AND s.id = m.sign
			WHERE m.run = ? AND m.cycle BETWEEN ? AND ? ORDER BY m.cycle, m.seq`, analyze.Cycles{First: 1, Last: math.MaxInt}, scanSymptom, yield)
	}
}

func scanSymptom(rows *sql.Rows) (x analyze.Symptom, err error) {
	var value, bound sql.NullFloat64
	err = scanRow(rows, "symptom", &x.Cycle, &x.Event, &x.Signal, &x.Kind, &x.Other, &value, &bound)
	x.Value, x.Limit = floatOf(value), floatOf(bound)
	return x, err
}

// CycleInfo is a cycle without its figures.
type CycleInfo struct {
	N          int
	Started    time.Time // zero: not known
	Verdict    analyze.Verdict
	Complete   bool
	Counts     capture.Counts
	HasCapture bool
}

// CycleInfos streams the cycles, rising.
func (rec *RunRecord) CycleInfos() iter.Seq2[CycleInfo, error] {
	return rec.CycleInfosIn(analyze.Cycles{First: 1, Last: math.MaxInt})
}

// CycleInfosIn is CycleInfos for some cycles.
func (rec *RunRecord) CycleInfosIn(s analyze.Cycles) iter.Seq2[CycleInfo, error] {
	return func(yield func(CycleInfo, error) bool) {
		stream(rec, "read the cycles", `SELECT n, started, verdict, complete, capture IS NOT NULL,
			missed_conversions, doubled_conversions, bus_errors, lost_edges, chip_resets, lost_ready
			FROM cycle WHERE run = ? AND n BETWEEN ? AND ? ORDER BY n`, s, scanCycle, yield)
	}
}

func scanCycle(rows *sql.Rows) (c CycleInfo, err error) {
	var started sql.NullInt64
	var gravity int
	n := make([]int64, 6)
	if err := scanRow(rows, "cycle", &c.N, &started, &gravity, &c.Complete, &c.HasCapture, &n[0], &n[1], &n[2], &n[3], &n[4], &n[5]); err != nil {
		return c, err
	}
	c.Started = timeOf(started)
	if err := inRange("cycle", "n", int64(c.N), 1); err != nil {
		return c, err
	}
	if c.Counts, err = countsOf(n); err != nil {
		return c, err
	}
	c.Verdict, err = verdictOf(gravity)
	return c, err
}

// Capture returns the capture kept of a cycle, in package capture's binary form;
// nil where none was kept or the cycle is not stored.
func (rec *RunRecord) Capture(n int) ([]byte, error) {
	var b []byte
	err := rec.db.row("SELECT k.bytes FROM cycle c JOIN capture k ON k.id = c.capture WHERE c.run = ? AND c.n = ?", rec.row, n).scan("capture", &b)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return b, rec.fail(fmt.Sprintf("read the capture of cycle %d", n), err)
}
