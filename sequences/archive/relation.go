package archive

import (
	"slices"
	"strconv"
	"strings"
)

// kind is a type of a column in the archive.
type kind int

const (
	small     kind = iota // smallint
	whole                 // integer
	large                 // bigint
	real                  // double precision
	text                  // text
	bytesKind             // bytea
	day                   // date
	listKind              // an array
)

// column is one of a table that has the same name in the log, unless made says how it is made of
// what is there.
type column struct {
	name string
	kind kind
	made string
}

// relation is a table of the archive whose rows are those of one of the log.
type relation struct {
	name    string
	own     []column // first, not of the log: month and run, or run and push
	columns []column
	from    string // how the log's rows are found: what follows the columns in a query
	packed  bool   // rows stand there as stretches, see stretch.go
}

func columns(list string) (all []column) {
	kinds := map[string]kind{"small": small, "whole": whole, "large": large, "real": real, "text": text, "binary": bytesKind, "day": day, "list": listKind}
	for _, word := range strings.Fields(list) {
		name, k, _ := strings.Cut(word, ":")
		all = append(all, column{name: name, kind: kinds[k]})
	}
	return all
}

var (
	byMonth = columns("month:day run:large")
	byRun   = columns("run:large")
	byPush  = columns("run:large push:whole")
)

// cycleTables hold what belongs to cycles. Their queries take the run, the first and the last
// cycle. All but the last one are part of a part's sum: a capture may be dropped at any time.
var cycleTables = []relation{
	{name: "cycle", own: byMonth, columns: columns("n:large started:large verdict:small complete:small missed_conversions:large doubled_conversions:large bus_errors:large lost_edges:large chip_resets:large lost_ready:large"),
		from: "FROM cycle WHERE run = ?1 AND n BETWEEN ?2 AND ?3 ORDER BY n"},
	{name: "measurement", own: byMonth, columns: columns("cycle:large seq:whole point:whole value:real expanded:real verdict:small doubts:whole numbers:binary"),
		from: "FROM measurement WHERE run = ?1 AND cycle BETWEEN ?2 AND ?3 ORDER BY cycle, seq", packed: true},
	{name: "symptom", own: byMonth, columns: columns("cycle:large seq:whole sign:whole value:real bound:real"),
		from: "FROM symptom WHERE run = ?1 AND cycle BETWEEN ?2 AND ?3 ORDER BY cycle, seq"},
	{name: "capture", own: byMonth, columns: []column{{"cycle", large, "c.n"}, {"why", small, "k.why"}, {"bytes", bytesKind, "k.bytes"}},
		from: "FROM cycle c JOIN capture k ON k.id = c.capture WHERE c.run = ?1 AND c.n BETWEEN ?2 AND ?3 ORDER BY c.n"},
}

// doubtInWords and boundOf are a list of doubts as the log's view figures has it: the archive
// keeps what SQLite makes of it, so that both say the same.
const (
	doubtInWords = `coalesce((SELECT group_concat(words, '; ') FROM (
		SELECT CASE WHEN code = 'worded' THEN text
		ELSE trim(signal || ' ' || replace(code, '-', ' ') || ' ' || other) || iif(value IS NULL, '', format(': %.4g', value)) END AS words
		FROM doubt d WHERE d.run = s.run AND d.doubts = s.id ORDER BY d.seq)), '')`
	boundOf = `coalesce((SELECT substr(code, 1, 5) FROM doubt d WHERE d.run = s.run AND d.doubts = s.id AND code IN ('upper-bound', 'lower-bound')
		ORDER BY d.seq LIMIT 1), '')`
)

// wordTables hold what cycles refer to by numbers. Their queries take the run and the first
// number that is not in the archive.
var wordTables = []relation{
	{name: "point", own: byRun, columns: columns("id:whole event:text signal:text quantity:text lower:real upper:real sources:text numbers:binary unit_of_measure:text"),
		from: "FROM point WHERE run = ?1 AND id >= ?2"},
	{name: "doubts", own: byRun, columns: []column{{"id", whole, ""}, {"reason", text, doubtInWords}, {"bound", text, boundOf}},
		from: "FROM doubts s WHERE run = ?1 AND id >= ?2"},
	{name: "doubt", own: byRun, columns: columns("doubts:whole seq:whole code:text value:real signal:text other:text text:text"),
		from: "FROM doubt WHERE run = ?1 AND doubts >= ?2"},
	{name: "sign", own: byRun, columns: columns("id:whole event:text signal:text kind:text other:text"),
		from: "FROM sign WHERE run = ?1 AND id >= ?2"},
}

// setTables hold what may change of a run, all of it with each push. Their queries take the run.
var setTables = []relation{
	{name: "soak", own: byPush, columns: columns("keep_first:large keep_last:large keep_every:large keep_bad:large"), from: "FROM soak WHERE run = ?1"},
	{name: "interruption", own: byPush, columns: columns("seq:whole after_cycle:large stopped:large resumed:large reason:text program:text"), from: "FROM interruption WHERE run = ?1 ORDER BY seq"},
	{name: "calibration", own: byPush, columns: columns("since:large seq:whole output:text state:text judged:small meter:text done_by:text made:text due:text rig:text seed:large gain:real \"offset\":real"), from: "FROM calibration WHERE run = ?1 ORDER BY since, seq"},
	{name: "machine", own: byPush, columns: columns("seq:whole after_cycle:large at:large fact:text number:real text:text"), from: "FROM machine WHERE run = ?1 ORDER BY seq"},
	{name: "ending", own: byPush, columns: columns("seq:whole code:text place:text other:text value:real"), from: "FROM ending WHERE run = ?1 ORDER BY seq"},
	{name: "converter_count", own: byPush, columns: columns("converter:text missed_conversions:large doubled_conversions:large bus_errors:large chip_resets:large lost_ready:large"), from: "FROM converter_count WHERE run = ?1 ORDER BY converter"},
	{name: "field", own: byPush, columns: columns("seq:whole name:text value:text"), from: "FROM field WHERE run = ?1 ORDER BY seq"},
	{name: "field_change", own: byPush, columns: columns("seq:whole at:large done_by:text name:text was:text"), from: "FROM field_change WHERE run = ?1 ORDER BY seq"},
	{name: "reference", own: byPush, columns: columns("at:large done_by:text"), from: "FROM reference WHERE run = ?1"},
	{name: "signature", own: byPush, columns: columns("seq:whole at:large done_by:text key:binary manifest:text signature:binary"), from: "FROM signature WHERE run = ?1 ORDER BY seq"},
}

// selection is the query of the log's rows.
func (t *relation) selection() string {
	made := make([]string, len(t.columns))
	for i, c := range t.columns {
		if made[i] = c.made; c.made == "" {
			made[i] = c.name
		}
	}
	return "SELECT " + strings.Join(made, ", ") + " " + t.from
}

// isShown is the condition that a row t of the table is one of those shown of the run s.
func (t *relation) isShown() string {
	switch {
	case t.own[0].name == "month":
		return " AND t.month = s.month AND t." + t.columns[0].name + " <= s.last" // the cycle is first
	case t.own[len(t.own)-1].name == "push":
		return " AND t.push = s.push"
	}
	return "" // words of cycles that are not shown do no harm
}

// all are the archive's columns.
func (t *relation) all() []column {
	if t.packed {
		return slices.Concat(t.own, stretchColumns)
	}
	return slices.Concat(t.own, t.columns)
}

func columnNames(all []column) []string {
	list := make([]string, len(all))
	for i, c := range all {
		list[i] = c.name
	}
	return list
}

func names(all []column) string { return strings.Join(columnNames(all), ", ") }

// namesIn are columns of one of a query's tables.
func namesIn(table string, all []column) string {
	return table + "." + strings.Join(columnNames(all), ", "+table+".")
}

// marks are so many places for values in a statement.
func marks(n int) string {
	all := make([]string, n)
	for i := range all {
		all[i] = "$" + strconv.Itoa(i+1)
	}
	return strings.Join(all, ", ")
}

// intake is the statement that takes the rows.
func (t *relation) intake() string {
	return "COPY makebreak." + t.name + " (" + names(t.all()) + ") FROM STDIN WITH (FORMAT binary)"
}
