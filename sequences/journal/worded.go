package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"makebreak/analyze"
	"makebreak/rig/unit"
)

// Up to schema 5 a figure's doubts were stored as a sentence. What follows reads every
// sentence that a program of ours has written.

// sentence is a form that a part of a reason had. Its groups are the doubt's signal, its
// other signal or its figure, as their names say.
type sentence struct {
	form *regexp.Regexp
	code analyze.DoubtCode
}

func form(pattern string, code analyze.DoubtCode) sentence {
	return sentence{regexp.MustCompile("^(?:" + pattern + ")$"), code}
}

const (
	aSignal = `(?P<signal>\S+)`
	aCount  = `(?P<count>\d+)`
	aTime   = `(?P<time>\S+ \S+)`
	volts   = `(?P<volts>\S+) V`
)

// sentences are compiled when the first old log needs them.
var sentences = sync.OnceValue(func() []sentence {
	return []sentence{
		form(`upper bound: shorter than the sampling can resolve`, analyze.AtMost),
		form(`no samples`, analyze.NoSamples),
		form(`no samples in the settled part of the state`, analyze.NoSettledSamples),
		form(`no samples near the state's level`, analyze.NoSamplesAtLevel),
		form(`no samples of `+aSignal+` around the change-over`, analyze.NoSamplesAround),
		form(`only `+aCount+` samples? in the state`, analyze.FewSamples),
		form(`mean of `+aCount+` samples?, too few for a histogram`, analyze.PlainMean),
		form(`samples are missing for `+aTime, analyze.SamplesAbsent),
		form(`samples were left out on purpose for `+aTime+`: only a move would have been kept`, analyze.SamplesLeftOut),
		form(`the samples do not show where it crossed`, analyze.CrossingNotShown),
		form(`the crossing lies in a gap of the samples`, analyze.CrossingNotShown),
		form(`the 10 % or 90 % instant is not in the samples`, analyze.ReferencesNotShown),
		form(`nothing is known of the state before the event`, analyze.StateBeforeUnknown),
		form(`watched for only `+aTime, analyze.WatchedBriefly),
		form(`the supply's converter had lost its setting`, analyze.SupplySettingLost),
		form(`the crossing of `+aSignal+` could not be placed`, analyze.OutputNotPlaced),
		form(`no output is known to drive `+aSignal, analyze.NoOutputKnown),
		form(`the pulse's edges could not be placed`, analyze.PulseEdgesNotPlaced),
		form(`the output did not go high`, analyze.DidNotGoHigh),
		form(`the output did not go low`, analyze.DidNotGoLow),
		form(`the output was already high`, analyze.AlreadyHigh),
		form(`the output was already low`, analyze.AlreadyLow),
		form(`the output did not pulse`, analyze.DidNotPulse),
		form(`no such contact is wired`, analyze.NoContactWired),
		form(aSignal+` was already closed`, analyze.AlreadyClosed),
		form(aSignal+` was already open`, analyze.AlreadyOpen),
		form(aSignal+` did not close`, analyze.DidNotClose),
		form(aSignal+` did not open`, analyze.DidNotOpen),
		form(aSignal+` did not close before the state ended, which was soon`, analyze.NotClosedInTime),
		form(aSignal+` did not close until `+volts, analyze.DidNotCloseTill),
		form(aSignal+` did not open until `+volts, analyze.DidNotOpenTill),
		form(aSignal+` closed before (?P<other>\S+) crossed its mid level: the edge is too slow to time the relay by, or the relay moved by itself`, analyze.ClosedBefore),
		form(`the contact had come to rest and then changed again, `+aCount+` times?`, analyze.ChangedAgain),
		form(`the state ended `+aTime+` after the last edge: there may have been more to come`, analyze.StillBouncing),
		form(`still bouncing when the state ended: at least this long`, analyze.StillBouncing),
		form(`edges were lost`, analyze.EdgesMissing),
		form(`edges were lost: there may be more bounce than was seen`, analyze.BounceIncomplete),
	}
})

// advice is a part of a reason that said what would settle a figure. It is computed from
// the stored budget when the figure is told.
var advice = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(?:(?:mostly|more than anything else) .*|.* would settle it(?: together)?|` +
		`too close to the limit for this rig: .*|closer to the limit than the expanded uncertainty)$`)
})

// coilReached is what follows the sentence of a contact that did not change over on a ramp.
var coilReached = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(.*), and the coil came to (\S+) V(?: ± (\S+ \S+))? only(?:: it changes over .*)?$`)
})

// doubtsOfWords reads a stored reason. A part that is in no known form stays as it is. For
// a short time programs stored doubts as JSON in place of a sentence.
func doubtsOfWords(reason string) []analyze.Doubt {
	if doubts, ok := doubtsOfJSON(reason); ok {
		return doubts
	}
	var doubts []analyze.Doubt
	for part := range strings.SplitSeq(reason, "; ") {
		if part == "" || advice().MatchString(part) {
			continue
		}
		doubts = append(doubts, doubtsOfPart(part)...)
	}
	return doubts
}

func doubtsOfJSON(text string) ([]analyze.Doubt, bool) {
	if !strings.HasPrefix(text, "[{") {
		return nil, false
	}
	var list []struct {
		Code                analyze.DoubtCode
		Value               *float64
		Signal, Other, Text string
	}
	if json.Unmarshal([]byte(text), &list) != nil {
		return nil, false
	}
	doubts := make([]analyze.Doubt, len(list))
	for i, d := range list {
		doubts[i] = analyze.Doubt{Code: d.Code, Value: math.NaN(), Signal: d.Signal, Other: d.Other, Text: d.Text}
		if d.Value != nil {
			doubts[i].Value = *d.Value
		}
	}
	return doubts, true
}

func doubtsOfPart(part string) []analyze.Doubt {
	begin, came := part, []analyze.Doubt(nil)
	if m := coilReached().FindStringSubmatch(part); m != nil {
		begin = m[1]
		reached, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			return analyze.InWords(part)
		}
		came = append(came, analyze.Doubt{Code: analyze.CoilReachedOnly, Value: reached})
		if m[3] != "" {
			expanded, err := unit.Voltage.Parse(m[3])
			if err != nil {
				return analyze.InWords(part)
			}
			came = append(came, analyze.Doubt{Code: analyze.CoilReachedWith, Value: expanded})
		}
	}
	for _, s := range sentences() {
		if d, ok := s.read(begin); ok {
			return append([]analyze.Doubt{d}, came...)
		}
	}
	return analyze.InWords(part)
}

// read reads a part of a reason in the sentence's form.
func (s *sentence) read(part string) (analyze.Doubt, bool) {
	d := analyze.Doubt{Code: s.code, Value: math.NaN()}
	m := s.form.FindStringSubmatch(part)
	if m == nil {
		return d, false
	}
	var err error
	for i, name := range s.form.SubexpNames() {
		switch name {
		case "signal":
			d.Signal = m[i]
		case "other":
			d.Other = m[i]
		case "count", "volts":
			d.Value, err = strconv.ParseFloat(m[i], 64)
		case "time":
			d.Value, err = unit.Time.Parse(m[i])
		}
	}
	return d, err == nil
}

// storedReason is a row of what was the table reason.
type storedReason struct {
	run  int64
	id   int
	text string
}

// sortReasons takes all stored sentences apart. It runs inside the transaction of a
// migration.
func sortReasons(conn *sql.Conn) error {
	ctx := context.Background()
	insert, err := conn.PrepareContext(ctx, insertDoubt)
	if err != nil {
		return err
	}
	defer insert.Close()
	for last := (storedReason{run: math.MinInt64}); ; {
		some, err := someReasons(conn, last)
		if err != nil {
			return err
		}
		for _, r := range some {
			for seq, d := range doubtsOfWords(r.text) {
				if _, err := insert.Exec(r.run, r.id, seq, string(d.Code), realOf(d.Value), d.Signal, d.Other, d.Text); err != nil {
					return err
				}
			}
		}
		if len(some) == 0 {
			_, err := conn.ExecContext(ctx, "ALTER TABLE doubts DROP COLUMN text")
			return err
		}
		last = some[len(some)-1]
	}
}

// someReasons reads some of the reasons that come after one.
func someReasons(conn *sql.Conn, last storedReason) (some []storedReason, err error) {
	rows, err := conn.QueryContext(context.Background(), "SELECT run, id, text FROM doubts WHERE (run, id) > (?, ?) ORDER BY run, id LIMIT 1000", last.run, last.id)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var r storedReason
		if err := scanRow(rows, "doubts", &r.run, &r.id, &r.text); err != nil {
			return nil, err
		}
		some = append(some, r)
	}
	return some, rows.Err()
}
