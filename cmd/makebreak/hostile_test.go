package main

import (
	"bytes"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/rig/capture"
)

// forged is what a hostile text tries to put at the beginning of a line of its own.
const forged = "FORGED"

// hostilePieces do harm where they come out as they went in: they are obeyed by terminals or
// spreadsheets, reverse or hide what stands beside them, or end a line, a cell, a string or
// an element.
var hostilePieces = []string{
	"\x1b[2J", "\x1b]0;title\a", "\x1b[8m", "\x9b31m", "\u009b31m", "\u0085" + forged, "\u202e", "\u2066", "\u2069", "\u200f", "\u061c", "\u200b", "\ufeff", "\u00ad",
	"\u2028" + forged, "\u2029" + forged, "\n" + forged, "\r\n" + forged, "\r" + forged, "\t", "\x00", "\x7f", "\b", "\xff", "\xe2\x80", "\u3164", "\ufe0f", "\U000e0041", "\u034f",
	"=1+1", "+1", "-1", "@SUM(A1)", "＝1", ";=1", "\t=1", "\"", "'", ",", ";", "<script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "&#x202e;", "{{.}}", "%s%n", "$(x)", "`x`", "\\", "plain", "Ω", " ",
}

// hostileText draws a text. Inside a file's name it has no slash, no zero and is short.
func hostileText(rng *rand.Rand, inName bool) string {
	var b strings.Builder
	for range 1 + rng.IntN(5) {
		b.WriteString(hostilePieces[rng.IntN(len(hostilePieces))])
	}
	s := b.String()
	switch {
	case inName:
		s = strings.NewReplacer("/", "|", "\x00", "").Replace(s)
		s = s[:min(len(s), 100)]
	case rng.IntN(20) == 0:
		s += strings.Repeat("x", 100_000)
	}
	return s
}

// obeyed says what is wrong with text that a person or a program sees. It knows nothing of how
// the program makes text safe; the ranges are those of the Unicode Standard, from memory.
func obeyed(s string) string {
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == '\r' && strings.HasPrefix(s[i:], "\r\n"):
		case r == utf8.RuneError && n == 1, r < ' ' && r != '\n' && r != '\t', r >= 0x7f && r < 0xa0, r == 0xad, r == 0x61c, r == 0x34f, r >= 0x200b && r <= 0x200f,
			r >= 0x2028 && r <= 0x202e, r >= 0x2060 && r <= 0x206f, r == 0x3164, r >= 0xfe00 && r <= 0xfe0f, r == 0xfeff, r >= 0xe0000 && r <= 0xe0fff:
			return fmt.Sprintf("%U at %d, in %q", r, i, s[max(0, i-60):min(len(s), i+60)])
		}
		i += n
	}
	return ""
}

var (
	ownNumber   = regexp.MustCompile(`^-?\d+(\.\d+)?(e[+-]?\d+)?$`)
	cellFormula = regexp.MustCompile(`^[\s"]*[=+\-@＝＋－＠]`)
	// A line that goes on beneath is indented, and so cannot be taken for one of the program's own.
	forgedLine = regexp.MustCompile(`(?m)^(  - )?` + forged)
)

// badOutput says what is wrong with what a command wrote in a form; empty: nothing.
func badOutput(as, out string) string {
	if bad := obeyed(out); bad != "" {
		return bad
	}
	switch as {
	case "text":
		if forgedLine.MatchString(out) {
			at := forgedLine.FindStringIndex(out)[0]
			return fmt.Sprintf("a line was forged: %q", out[max(0, at-200):min(len(out), at+50)])
		}
		for _, line := range strings.Split(out, "\n") {
			if len(line) > 30_000 {
				return fmt.Sprintf("a line of %d bytes", len(line))
			}
		}
	case "html":
		if low := strings.ToLower(out); strings.Contains(low, "<script") || strings.Contains(low, "<img") {
			return "markup got through"
		}
	case "json":
		if !json.Valid([]byte(out)) {
			return "no JSON"
		}
	case "csv":
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if err != nil {
			return err.Error()
		}
		for _, row := range rows {
			for _, cell := range row {
				if cellFormula.MatchString(cell) && !ownNumber.MatchString(cell) {
					return fmt.Sprintf("a formula: %.100q", cell)
				}
			}
		}
	}
	return ""
}

// hostileCommands are the commands with what they need to come to their output.
// LOG, RIG, SEQ, CAPTURE and DIR are replaced by paths.
var hostileCommands = map[string][]string{
	"makebreak":                  {},
	"makebreak run":              {"relay-only --seed 1 --log NEW --cycles 1", "SEQ --seed 1 --log NEW --cycles 1", "--list", "--list-faults"},
	"makebreak soak":             {"relay-only --seed 1 --log NEW --cycles 2", "--resume last --log LOG --metrics-file DIR/m.prom"},
	"makebreak soak plan":        {"--b10 100000"},
	"makebreak soak reliability": {"last --log LOG", "last --log LOG --shape 2 --plot DIR/p.svg", "last --log LOG --as html"},
	"makebreak install":          {"--root DIR/root"},
	"makebreak analyze":          {"CAPTURE", "CAPTURE --sequence SEQ", "CAPTURE --causes CAPTURE"},
	"makebreak runs":             {"--log LOG", "--log LOG --unit U-1", "--log LOG --field job=1234", "--log LOG --set-field last job=1 place=2", "--log LOG --mark-reference last", "--log LOG --unmark-reference last"},
	"makebreak runs prune":       {"--log LOG --older-than 0d", "--log LOG --older-than 0d --whole-runs --yes --into DIR/into.db"},
	"makebreak runs check":       {"--log LOG"},
	"makebreak runs export":      {"last --log LOG -o DIR/runs.db"},
	"makebreak runs import":      {"CAPTURE --log NEW"},
	"makebreak runs backup":      {"--log LOG -o DIR/backup.db"},
	"makebreak runs sign":        {"last --log LOG --key CAPTURE", "--new-key DIR/key"},
	"makebreak report":           {"last --log LOG", "last --log LOG --capture 1", "last --log LOG --budget K1.operate_time", "last --log LOG --diagram COIL", "last --log LOG --against last", "last --log LOG --verify", "--schema"},
	"makebreak batch":            {"relay-only --seed 1 --log NEW --cycles 1 --list POINTS"},
	"makebreak batch report":     {"monday --log LOG"},
	"makebreak unit":             {"U-1 --log LOG"},
	"makebreak survey":           {"--of last --log LOG", "--of last --log LOG --as html", "--event arm-away --event disarm --times 1 --watch 2s --seed 1 --log NEW --write DIR/learnt.yaml"},
	"makebreak archive":          {},
	"makebreak archive push":     {"--log LOG"}, // none can be reached here; hostile texts in one are tried in package archive
	"makebreak archive status":   {"--log LOG"},
	"makebreak serve":            {"--log LOG --listen nowhere"}, // its pages are tried in package site
	"makebreak rig":              {},
	"makebreak rig scan":         {""},
	"makebreak rig wiring":       {"--rig RIG"},
	"makebreak rig draw":         {"--rig RIG", "SEQ --rig RIG"},
	"makebreak rig check":        {"--rig RIG"},
	"makebreak rig watch":        {"--rig RIG --for 1ms"},
	"makebreak rig calibrate":    {"OUT3 --rig RIG --points POINTS"},
	"makebreak work":             {},
	"makebreak work battery":     {"--capacity 7Ah --standby 150mA --alarm 1.2A --standby-time 24h --charger 500mA"},
	"makebreak work drop":        {"--voltage 10.5V --current 300mA --least 9V --length 40m --area 0.5mm2"},
	"makebreak work divider":     {"--highest 15V --supply 3.3V --capacitor 100nF --rate 860/s"},
	"makebreak work coil":        {"--voltage 12V --resistance 400ohm --must-operate 9V --must-release 1.2V --leakage 0.65V"},
	"makebreak work lamp":        {"--supply 12V --led 1.8V --current 10mA"},
	"makebreak exercise":         {},
	"makebreak exercise list":    {""},
	"makebreak exercise start":   {"EXERCISE --log NEW"},
	"makebreak exercise card":    {"--log LOG"},
	"makebreak exercise try":     {"--log LOG"},
	"makebreak exercise look":    {"--log LOG --after energize"},
	"makebreak exercise probe":   {"K1.A1 K1.A2 --log LOG"},
	"makebreak exercise change":  {"board K1 --log LOG", "--list --log LOG"},
	"makebreak exercise answer":  {"welded@K1 --log LOG", "--list --log LOG"},
	"makebreak exercise marks":   {"--log LOG", "relay-that-stays --log LOG"},
	"makebreak exercise truth":   {"--sealed-by larch --log LOG"},
	"makebreak exercise check":   {"EXERCISE --draws 1"},
	"makebreak help":             {"run"},
	"makebreak version":          {""},
	"makebreak licences":         {""},
	"makebreak rig init":         {""},
}

// eachCommand calls f with every command that there is, also those that nobody thought of here.
func eachCommand(f func(*cobra.Command)) {
	a := &app{}
	root := a.root()
	root.InitDefaultHelpCmd()
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		f(c)
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(root)
}

// A new command is added to those that the hostile tests call, with what it needs.
func TestHostile_AllCommands(t *testing.T) {
	eachCommand(func(c *cobra.Command) {
		if _, known := hostileCommands[c.CommandPath()]; !known && c.Runnable() && !c.Hidden {
			t.Errorf("%s: add it to the commands that are tried with hostile texts, with the words that make it write something", c.CommandPath())
		}
	})
}

// formsOf are the forms of a command's results.
func formsOf(c *cobra.Command) []string {
	if as := c.Flags().Lookup("as"); as != nil && as.Annotations[formsKey] != nil {
		// A PDF is the page, which is tried as html; a browser for each would take too long.
		return slices.DeleteFunc(slices.Clone(as.Annotations[formsKey]), func(form string) bool { return form == "pdf" })
	}
	return []string{"text"}
}

// hostileFiles are the files that the commands are given.
type hostileFiles struct{ dir, log, rig, seq, capture, points, exercise string }

// newHostileFiles makes files that are well, and a log of a soak with failures, a planted
// fault, captures, an interruption and a calibration.
func newHostileFiles(t testing.TB) hostileFiles {
	t.Helper()
	dir := t.TempDir()
	f := hostileFiles{dir: dir, log: filepath.Join(dir, "log.db"), rig: filepath.Join(dir, "rig.yaml"), seq: filepath.Join(dir, "seq.yaml"),
		capture: filepath.Join(dir, "c.csv"), points: filepath.Join(dir, "p.yaml"), exercise: filepath.Join(dir, "e.yaml")}
	rig, err := os.ReadFile("../../rig/wiring/rigfile/bench.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for path, text := range map[string]string{
		f.rig: string(rig),
		f.seq: "name: job\nabout: what it shows\ncycles: 1\nsteps:\n  - {event: arm-away, hold: 1 s}\n  - {event: disarm, hold: 1 s}\n" +
			"outputs:\n  OUT3:\n    expect: {arm-away: high, disarm: low}\n    limits: {high_level: {min: 12 V, max: 14.5 V}}\n",
		f.capture: "time_s,event,OUT3_V,K1_NO\n0,,0,0\n1,arm-away,0,\n1.1,,13,1\n2,,13,\n3,disarm,0,0\n4,,0,\n",
		f.exercise: "name: relay-that-stays\ntitle: A relay\nstory: It stays.\ngrade: 1\nsequence: relay-only\ncycles: 1\nallow: [try, look, probe, change]\n" +
			"states:\n  - {weight: 1}\n  - {weight: 1, faults: [{fault: welded, place: K1}]}\nanswers: [dead-relay]\n",
		f.points: "meter: M-1\naccuracy: 0.5 % + 2 digits\npoints:\n  - {meter: 0.651 V, read: 0.648 V}\n  - {meter: 13.47 V, read: 13.46 V}\n",
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, args := range []string{
		"rig calibrate OUT3 --rig RIG --points POINTS --accept-differences --by A", "soak armed-high --rig RIG --log LOG --field job=1234 --unit U-1 --by A --cycles 3 --seed 1 --fault weak-supply",
		"soak relay-only --log LOG --unit U-1 --by A --cycles 6 --seed 1 --fault slow-release",
		"exercise start EXERCISE --by A --log LOG", "exercise look --log LOG", "exercise answer dead-relay --log LOG", "exercise start EXERCISE --by B --sealed-by larch --log LOG", "exercise card --log LOG",
	} {
		var out, errs bytes.Buffer
		if status := bounded(f.words(args, f.log), streams{strings.NewReader(""), &out, &errs}); status > exitUndecided {
			t.Fatalf("%s: exit status %d: %s", args, status, errs.String())
		}
	}
	f.change(t, f.log, "UPDATE run SET complete = 0, ended = NULL, planned = 7, reason = 'interrupted', verdict = 0 WHERE id = 2",
		"INSERT INTO interruption VALUES (2, 0, 3, NULL, 1900000000000000000, 'a reason', 'a version')")
	return f
}

// words are a command's words with the files' paths in them.
func (f *hostileFiles) words(line, log string) []string {
	return strings.Fields(strings.NewReplacer("LOG", log, "NEW", filepath.Join(f.dir, "new.db"), "RIG", f.rig, "SEQ", f.seq, "CAPTURE", f.capture, "POINTS", f.points, "EXERCISE", f.exercise, "DIR", f.dir).Replace(line))
}

// change changes a log by hand. Columns that a newer schema has added are not known here.
func (f *hostileFiles) change(t testing.TB, log string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Logf("%s: %v", s, err)
		}
	}
}

// textColumns are the columns of a log that hold text, of tables and of packed things.
func textColumns(t testing.TB, log string) (all []string) {
	t.Helper()
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT m.name, c.name FROM sqlite_master m, pragma_table_info(m.name) c WHERE m.type = 'table' AND upper(c.type) IN ('TEXT', 'ANY', '')")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			t.Fatal(err)
		}
		all = append(all, table+"."+column)
	}
	if len(all) < 20 {
		t.Fatalf("only %d columns of text: they are not found", len(all))
	}
	return append(all, "capture.signals", "checkpoint.state", "calibration file", "")
}

// tampered copies a log and puts a text into all rows of a column.
func (f *hostileFiles) tampered(t testing.TB, column, text string) string {
	t.Helper()
	log := filepath.Join(f.dir, "tampered.db")
	for _, end := range []string{"", "-wal", "-shm", "-reserve", "-lock"} {
		_ = os.Remove(log + end)
	}
	b, err := os.ReadFile(f.log)
	if err == nil {
		err = os.WriteFile(log, b, 0o600)
	}
	db, openErr := sql.Open("sqlite", log)
	if err != nil || openErr != nil {
		t.Fatal(err, openErr)
	}
	defer db.Close()
	table, name, _ := strings.Cut(column, ".")
	switch column {
	case "", "calibration file":
	case "capture.signals":
		f.tamperCaptures(t, db, text)
	default:
		if strings.HasPrefix(column, "run.s") || strings.HasPrefix(column, "run.u") { // one row: it may be a key
			_, err = db.Exec(fmt.Sprintf("UPDATE %s SET %s = ? WHERE id = 2", table, name), text)
		} else if _, err = db.Exec(fmt.Sprintf("UPDATE OR IGNORE %s SET %s = ?", table, name), text); err != nil && column == "checkpoint.state" {
			_, err = db.Exec("DELETE FROM checkpoint") // the sums are then made anew
		}
	}
	if err != nil {
		t.Logf("%s: %v", column, err) // a constraint: nothing was changed
	}
	return log
}

// tamperCaptures gives a signal of each capture the text for its name.
func (f *hostileFiles) tamperCaptures(t testing.TB, db *sql.DB, text string) {
	t.Helper()
	rows, err := db.Query("SELECT id, bytes FROM capture")
	if err != nil {
		t.Fatal(err)
	}
	changed := map[int64][]byte{}
	for rows.Next() {
		var id int64
		var b []byte
		var c capture.Capture
		if err := rows.Scan(&id, &b); err != nil {
			t.Fatal(err)
		}
		if err := c.UnmarshalBinary(b); err != nil {
			t.Fatal(err)
		}
		for _, k := range c.Tracks {
			k.Signal = text
		}
		for i := range c.Events {
			c.Events[i].Name = text
		}
		if b, err := c.MarshalBinary(); err == nil {
			changed[id] = b
		}
	}
	rows.Close()
	for id, b := range changed {
		if _, err := db.Exec("UPDATE capture SET bytes = ? WHERE id = ?", b, id); err != nil {
			t.Fatal(err)
		}
	}
}

// tried runs a command and says what is wrong with what it wrote, to standard output, to
// standard error and into files.
func (f *hostileFiles) tried(t testing.TB, as string, args []string) {
	t.Helper()
	if args[0] == "install" && slices.ContainsFunc(args, func(a string) bool { return strings.HasPrefix(a, "--yes") }) {
		return // it would be done
	}
	var out, errs bytes.Buffer
	if as != "" {
		args = append(slices.Clone(args), "--as", as)
	}
	status := bounded(args, streams{strings.NewReader(""), &out, &errs})
	written := map[string]string{"standard error": badOutput("text", errs.String())}
	switch {
	case slices.Contains(args, "--capture"):
		as = "csv"
	case slices.Contains(args, "--schema"):
		as = "json"
	case as == "":
		as = "text"
	}
	if out.Len() > 0 && as != "png" && as != "pdf" && !(status > exitUndecided && as == "json") { // what was cut off by a fault is no JSON
		written["standard output"] = badOutput(as, out.String())
	}
	for name, as := range map[string]string{"m.prom": "text", "p.svg": "html"} {
		if b, err := os.ReadFile(filepath.Join(f.dir, name)); err == nil {
			written[name] = badOutput(as, string(b))
			_ = os.Remove(filepath.Join(f.dir, name))
		}
	}
	for where, bad := range written {
		if bad != "" {
			t.Errorf("%s: %s", where, bad)
		}
	}
	if status == exitInternal {
		t.Errorf("exit status %d: %.600s", status, errs.String())
	}
	for _, name := range []string{"new.db", "into.db"} {
		for _, end := range []string{"", "-wal", "-shm", "-reserve", "-lock"} {
			_ = os.Remove(filepath.Join(f.dir, name+end))
		}
	}
}

// hostileCase is one way to put a text in and to look at what comes out.
type hostileCase struct {
	name string
	try  func(t testing.TB, text string)
	file bool // the text is in a file's name
}

// cases are all ways in and out: each column of a log by each command and form, each
// argument and each flag of each command, and each text of each file.
func (f *hostileFiles) cases(t testing.TB) (all []hostileCase) {
	add := func(name string, file bool, try func(t testing.TB, text string)) {
		all = append(all, hostileCase{name, try, file})
	}
	columns := textColumns(t, f.log)
	eachCommand(func(c *cobra.Command) {
		path := strings.Fields(c.CommandPath())[1:]
		for _, line := range hostileCommands[c.CommandPath()] {
			for _, as := range formsOf(c) {
				if strings.Contains(line, "LOG") {
					for _, column := range columns {
						add(fmt.Sprintf("%v %s --as %s: %s", path, line, as, column), false, func(t testing.TB, text string) {
							f.tried(t, as, append(slices.Clone(path), f.words(line, f.tampered(t, column, text))...))
						})
					}
				}
				f.argumentCases(c, path, line, as, add)
				f.fileCases(path, line, as, add)
			}
		}
		for _, before := range []string{"", "-", "--"} {
			add(fmt.Sprintf("%v: a word after %q", path, before), true, func(t testing.TB, text string) { f.tried(t, "", append(slices.Clone(path), before+text)) })
		}
	})
	return all
}

// argumentCases put the text into each flag's value and each word of a command.
func (f *hostileFiles) argumentCases(c *cobra.Command, path []string, line, as string, add func(string, bool, func(testing.TB, string))) {
	used := func(t testing.TB, more ...string) []string {
		return append(append(slices.Clone(path), f.words(line, f.tampered(t, "", ""))...), more...)
	}
	seenFlags := map[string]bool{}
	each := func(fl *pflag.Flag) {
		if seenFlags[fl.Name] || fl.Name == "metrics" || fl.Name == "page" || fl.Name == "help" || fl.Name == "version" {
			return
		}
		seenFlags[fl.Name] = true
		isFile := strings.Contains(fl.Usage, "`file`") || fl.Name == "rig" || fl.Name == "log"
		add(fmt.Sprintf("%v %s --as %s: --%s", path, line, as, fl.Name), isFile, func(t testing.TB, text string) {
			if isFile {
				text = filepath.Join(f.dir, text)
				defer os.Remove(text)
			}
			f.tried(t, as, used(t, "--"+fl.Name+"="+text))
		})
	}
	c.LocalFlags().VisitAll(each)
	c.InheritedFlags().VisitAll(each)
	for i := range strings.Fields(line) {
		add(fmt.Sprintf("%v %s --as %s: word %d", path, line, as, i), true, func(t testing.TB, text string) {
			args := used(t)
			at := len(path) + i
			if strings.HasPrefix(args[at], f.dir) && !strings.HasSuffix(args[at], ".prom") {
				renamed := filepath.Join(f.dir, text)
				if err := os.Link(args[at], renamed); err == nil { // the file by another name
					defer os.Remove(renamed)
				}
				text = renamed
			}
			args[at] = text
			f.tried(t, as, args)
		})
	}
}

// fileCases put the text into each text of a file that a command reads.
func (f *hostileFiles) fileCases(path []string, line, as string, add func(string, bool, func(testing.TB, string))) {
	for word, file := range map[string]string{"RIG": f.rig, "SEQ": f.seq, "CAPTURE": f.capture, "POINTS": f.points} {
		if !strings.Contains(line, word) {
			continue
		}
		add(fmt.Sprintf("%v %s --as %s: in %s", path, line, as, word), false, func(t testing.TB, text string) {
			whole, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			defer os.WriteFile(file, whole, 0o600)
			places := wordsOfFile.FindAllIndex(whole, -1)
			at := places[(len(text)*31+len(line))%len(places)]
			put := text
			if word != "CAPTURE" && len(text)%2 == 0 {
				quoted, _ := json.Marshal(text) // YAML takes JSON's strings, and gets past what is looked for in the file's text
				put = string(quoted)
			}
			if err := os.WriteFile(file, slices.Concat(whole[:at[0]], []byte(put), whole[at[1]:]), 0o600); err != nil {
				t.Fatal(err)
			}
			f.tried(t, as, append(slices.Clone(path), f.words(line, f.tampered(t, "", ""))...))
		})
	}
}

var wordsOfFile = regexp.MustCompile(`[A-Za-z][A-Za-z0-9_-]*|[0-9.]+`)

// Text from outside comes out of every way out so that nothing obeys it, wherever it came in.
func TestHostile(t *testing.T) {
	f := newHostileFiles(t)
	t.Chdir(f.dir) // a word may be taken for a file's name
	all := f.cases(t)
	rng := rand.New(rand.NewPCG(7, 8))
	n := 900 // of some 2,700: others are drawn by the fuzz target
	if testing.Short() {
		n = 120
	}
	for _, i := range rng.Perm(len(all))[:n] {
		all[i].run(t, hostileText(rng, all[i].file))
	}
	t.Logf("%d of %d cases", n, len(all))
}

func (c *hostileCase) run(t testing.TB, text string) {
	t.Helper()
	if c.file && strings.ContainsAny(text, "/\x00") {
		return
	}
	defer func() {
		if p := recover(); p != nil {
			t.Fatalf("%s with %.200q: %v", c.name, text, p)
		}
	}()
	said := fmt.Sprintf("%s, with %.200q", c.name, text)
	c.try(named{t, said}, text)
}

// named says of each error in which case it was.
type named struct {
	testing.TB
	name string
}

func (n named) Errorf(format string, args ...any) {
	n.Helper()
	n.TB.Errorf("%s: "+format, append([]any{n.name}, args...)...)
}

// FuzzHostile looks for texts that nobody has thought of, in all ways in and out.
func FuzzHostile(f *testing.F) {
	files := newHostileFiles(f)
	all := files.cases(f)
	for i, p := range hostilePieces {
		f.Add(p, uint16(i*37))
	}
	f.Fuzz(func(t *testing.T, text string, which uint16) {
		c := &all[int(which)%len(all)]
		if c.file && (len(text) > 200 || text == "." || text == "..") {
			return
		}
		t.Chdir(files.dir)
		c.run(t, text)
	})
}
