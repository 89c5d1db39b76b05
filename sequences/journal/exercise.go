package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// Exercise is an exercise that a trainee has begun.
type Exercise struct {
	UUID    string // given by BeginExercise
	Name    string
	Title   string
	Grade   int
	Trainee string // may be empty
	Rig     string // file of a real rig; empty: the simulated bench
	Started time.Time
	Worded  bool // begun with a trainer's word
	// What is hidden, sealed; see package exercise.
	Salt, State, ByWord, Here []byte
	Ended                     time.Time // zero: not answered yet
	Marks                     []byte    // JSON; nil: not answered yet

	row int64
}

// ExerciseStep is one thing that a trainee did.
type ExerciseStep struct {
	At      time.Time
	Action  []byte // JSON
	Cost    time.Duration
	Dangers []string // codes
	Run     string   // name of the run that was made; empty: none
}

// ErrNoExercise says that no exercise has been begun, or none of that name.
var ErrNoExercise error = problem.New(problem.Usage, "no such exercise has been begun")

// ErrAnswered says that an exercise has been answered and is over.
var ErrAnswered error = problem.New(problem.Usage, "the exercise has been answered")

// BeginExercise stores an exercise that begins. seal fills in what is sealed; it is given
// what tells this exercise in this log from all others.
func (db *DB) BeginExercise(e *Exercise, seal func(place string) error) error {
	uuid, err := newUUID()
	if err != nil {
		return db.fail("begin an exercise", err)
	}
	e.UUID, e.Started = uuid, e.Started.UTC()
	place, err := db.ExercisePlace(e)
	if err != nil {
		return err
	}
	if err := seal(place); err != nil {
		return err
	}
	started, err := stampOf(e.Started)
	if err == nil && started == nil {
		err = misuse("it has no time of its beginning")
	}
	if err != nil {
		return db.fail("begin an exercise", err)
	}
	return db.fail("begin an exercise", db.transact(func() error {
		return db.queryRow(`INSERT INTO exercise (uuid, name, title, grade, trainee, rig, started, worded, salt, state, by_word, here)
			VALUES (?,?,?,?,?,?,?,?,?,?,?,?) RETURNING id`,
			[]any{e.UUID, e.Name, e.Title, e.Grade, e.Trainee, e.Rig, started, e.Worded, e.Salt, e.State, e.ByWord, e.Here}, &e.row)
	}))
}

// ExercisePlace is what tells an exercise in this log from all others.
func (db *DB) ExercisePlace(e *Exercise) (string, error) {
	var identity string
	err := db.row("SELECT identity FROM log").scan("log", &identity)
	return exercisePlace(e, identity), db.fail("find the log's identity", err)
}

func exercisePlace(e *Exercise, identity string) string { return e.UUID + "\n" + identity }

// AddExerciseStep stores what a trainee did.
func (db *DB) AddExerciseStep(e *Exercise, s ExerciseStep) error {
	doing := "store a step of exercise " + e.Name
	at, err := stampOf(s.At)
	if err == nil && at == nil {
		err = misuse("it has no time")
	}
	if err != nil {
		return db.fail(doing, err)
	}
	return db.fail(doing, db.transact(func() error { return db.addExerciseStep(e, at, s) }))
}

func (db *DB) addExerciseStep(e *Exercise, at any, s ExerciseStep) error {
	var ended bool
	if err := db.queryRow("SELECT ended IS NOT NULL FROM exercise WHERE id = ?", []any{e.row}, &ended); err != nil {
		return err
	}
	if ended {
		return ErrAnswered
	}
	return db.exec(`INSERT INTO exercise_step VALUES (?, (SELECT coalesce(max(seq) + 1, 0) FROM exercise_step WHERE exercise = ?), ?,?,?,?,?)`,
		e.row, e.row, at, string(s.Action), int64(s.Cost), strings.Join(s.Dangers, " "), s.Run)
}

// ShortenExerciseStep stores that the step of a run took less bench time, as the run was cut off.
func (db *DB) ShortenExerciseStep(e *Exercise, run string, cost time.Duration) error {
	return db.fail("store a step of exercise "+e.Name, db.transact(func() error {
		return db.exec("UPDATE exercise_step SET cost = ? WHERE exercise = ? AND run = ? AND cost > ?", int64(cost), e.row, run, int64(cost))
	}))
}

// EndExercise stores the last step of an exercise and its marks.
func (db *DB) EndExercise(e *Exercise, s ExerciseStep, marks []byte) error {
	doing := "store the marks of exercise " + e.Name
	at, err := stampOf(s.At)
	if err != nil {
		return db.fail(doing, err)
	}
	err = db.transact(func() error {
		if err := db.addExerciseStep(e, at, s); err != nil {
			return err
		}
		return db.exec("UPDATE exercise SET ended = ?, marks = ? WHERE id = ?", at, string(marks), e.row)
	})
	if err == nil {
		e.Ended, e.Marks = s.At, slices.Clone(marks)
	}
	return db.fail(doing, err)
}

const exerciseColumns = "id, uuid, name, title, grade, trainee, rig, started, worded, salt, state, by_word, here, ended, marks"

// Exercises returns the exercises that have been begun, the newest first.
func (db *DB) Exercises() ([]Exercise, error) {
	all, err := db.exercises("TRUE")
	return all, db.fail("list the exercises", err)
}

func (db *DB) exercises(where string, args ...any) ([]Exercise, error) {
	rows, err := db.read.Query("SELECT "+exerciseColumns+" FROM exercise WHERE "+where+" ORDER BY id DESC", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []Exercise
	for rows.Next() {
		var e Exercise
		var started, ended sql.NullInt64
		var marks sql.NullString
		if err := scanRow(rows, "exercise", &e.row, &e.UUID, &e.Name, &e.Title, &e.Grade, &e.Trainee, &e.Rig, &started, &e.Worded,
			&e.Salt, &e.State, &e.ByWord, &e.Here, &ended, &marks); err != nil {
			return nil, err
		}
		e.Started, e.Ended = timeOf(started), timeOf(ended)
		if marks.Valid {
			e.Marks = []byte(marks.String)
		}
		all = append(all, e)
	}
	return all, rows.Err()
}

// FindExercise returns the exercise of a name that was begun last; of an empty name the one
// that was begun last of all. ErrNoExercise: there is none.
func (db *DB) FindExercise(name string) (*Exercise, error) {
	all, err := db.exercises("name = ? OR uuid = ? OR ? = ''", name, name, name)
	if err != nil {
		return nil, db.fail("find exercise "+name, err)
	}
	if len(all) > 0 {
		return &all[0], nil
	}
	others, err := db.exercises("TRUE")
	if err != nil {
		return nil, db.fail("find exercise "+name, err)
	}
	if len(others) == 0 {
		return nil, fmt.Errorf("%w; begin one with makebreak exercise start NAME", ErrNoExercise)
	}
	var names []string
	for _, e := range others {
		if !slices.Contains(names, e.Name) {
			names = append(names, e.Name)
		}
	}
	return nil, fmt.Errorf("%w: %q; %s", ErrNoExercise, name, words.UseOneOf(name, names))
}

// ExerciseOf returns the exercise of a UUID. ErrNoExercise: there is none.
func (db *DB) ExerciseOf(uuid string) (*Exercise, error) {
	all, err := db.exercises("uuid = ?", uuid)
	if err == nil && len(all) == 0 {
		return nil, ErrNoExercise
	}
	if err != nil {
		return nil, db.fail("find an exercise", err)
	}
	return &all[0], nil
}

// ExerciseSteps returns what the trainee has done, the first thing first.
func (db *DB) ExerciseSteps(e *Exercise) ([]ExerciseStep, error) {
	all, err := db.exerciseSteps(e)
	return all, db.fail("read the steps of exercise "+e.Name, err)
}

func (db *DB) exerciseSteps(e *Exercise) (all []ExerciseStep, err error) {
	rows, err := db.read.Query("SELECT at, action, cost, dangers, run FROM exercise_step WHERE exercise = ? ORDER BY seq", e.row)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var s ExerciseStep
		var at sql.NullInt64
		var action, dangers string
		var cost int64
		if err := scanRow(rows, "exercise_step", &at, &action, &cost, &dangers, &s.Run); err != nil {
			return nil, err
		}
		if err := inRange("exercise_step", "cost", cost, 0); err != nil {
			return nil, err
		}
		s.At, s.Action, s.Cost, s.Dangers = timeOf(at), []byte(action), time.Duration(cost), strings.Fields(dangers)
		all = append(all, s)
	}
	return all, errors.Join(rows.Err())
}
