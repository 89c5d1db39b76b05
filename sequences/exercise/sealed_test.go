package exercise

import (
	"bytes"
	"database/sql"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"makebreak/analyze/report"
	"makebreak/rig/sim"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

func TestMain(m *testing.M) {
	if rounds < 600_000 {
		panic("words are hashed too few times")
	}
	rounds = 100
	os.Exit(m.Run())
}

// Nothing that a trainee sees names what is hidden: no file beside the log and none of its
// bytes, no form of a record, no reading, no mark. All states begin with a log of one size.
func TestSealed_Everywhere(t *testing.T) {
	all, _ := tested(t)
	for _, d := range all {
		d.Sequence.Cycles = min(d.Sequence.Cycles, 2)
		sizes := map[int64]bool{}
		for i := range d.States {
			one := *d
			one.States = d.States[i : i+1]
			s, dir := started(t, &one)
			sizes[fileSize(t, filepath.Join(dir, "log.db"))] = true
			seen := everything(t, s, dir)
			for _, f := range s.faults {
				for what, needle := range needles(f) {
					if at := wordIn(seen, needle); at >= 0 {
						t.Errorf("%s: %s of %s is told: %q", d.Name, what, f, seen[max(0, at-60):min(len(seen), at+len(needle)+40)])
					}
				}
			}
			if bytes.Contains(seen, []byte(strconv.FormatUint(s.hidden.Seed, 10))) {
				t.Errorf("%s: the seed is told", d.Name)
			}
		}
		if len(sizes) != 1 {
			t.Errorf("%s: logs of %d sizes tell the states apart", d.Name, len(sizes))
		}
	}
}

// needles are what would tell a fault: its name, its value in the ways in which the program
// writes one, and all of it as it is planted. A place alone tells nothing.
func needles(f sim.Fault) map[string]string {
	all := map[string]string{"the name": f.Name, "all": f.String()}
	if digits := strconv.FormatFloat(f.Value, 'g', -1, 64); len(strings.Trim(digits, "0.e-")) >= 5 {
		all["the value"] = digits
	}
	return all
}

// wordIn is where a word stands in a text by itself, or -1. One of digits may stand anywhere.
func wordIn(text []byte, word string) int {
	for from := 0; ; {
		i := bytes.Index(text[from:], []byte(word))
		if i < 0 {
			return -1
		}
		i += from
		before, after := i > 0 && isLetter(text[i-1]), i+len(word) < len(text) && isLetter(text[i+len(word)])
		if !before && !after || !isLetter(word[0]) {
			return i
		}
		from = i + 1
	}
}

// isLetter reports whether a byte is one of a word's: a small letter or a capital of English.
func isLetter(b byte) bool { return 'a' <= b|0x20 && b|0x20 <= 'z' }

// The search finds what is told, and no part of a longer word.
func TestWordIn(t *testing.T) {
	for _, c := range []struct {
		text, word string
		want       int
	}{{"a hum, 1.2345 V", "hum", 2}, {"human thumb", "hum", -1}, {"human hum", "hum", 6}, {"x12.3456y", "2.3456", 2}, {"welded@K1", "welded", 0}, {"", "hum", -1}} {
		if got := wordIn([]byte(c.text), c.word); got != c.want {
			t.Errorf("%q in %q: at %d, want %d", c.word, c.text, got, c.want)
		}
	}
}

func started(t *testing.T, d *Definition) (s *Session, dir string) {
	t.Helper()
	dir = t.TempDir()
	db, err := journal.Open(filepath.Join(dir, "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	if s, err = Start(db, Begin{Definition: d, Trainee: "A. Fitter", Word: "larch", Now: noon}); err != nil {
		t.Fatal(err)
	}
	return s, dir
}

func fileSize(t *testing.T, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

// everything is all that a trainee sees who does everything but answer.
func everything(t *testing.T, s *Session, dir string) []byte {
	t.Helper()
	var seen bytes.Buffer
	do := func(a Action) *Result {
		r, err := s.Do(t.Context(), a, Logged(s.db, noon, "version"))
		if err != nil {
			t.Fatalf("%+v: %v", a, err)
		}
		fmt.Fprintf(&seen, "%+v\n", *r)
		return r
	}
	do(Action{Kind: ReadCard})
	run := do(Action{Kind: Try}).Run
	for _, e := range s.def.EventChoices() {
		do(Action{Kind: Look, After: e.Value})
	}
	for _, p := range s.def.probes() {
		if p.Off {
			do(p)
		}
	}
	rec, err := s.db.Find(run)
	if err != nil {
		t.Fatal(err)
	}
	r, err := record.Of(rec, "log.db")
	if err != nil {
		t.Fatal(err)
	}
	for _, write := range []func(io.Writer) error{
		func(w io.Writer) error { return report.Text(w, r, report.TextOpts{All: true}) },
		func(w io.Writer) error { return report.HTML(w, r) },
		func(w io.Writer) error { return report.JSON(w, r) },
		func(w io.Writer) error { return report.CSV(w, r) },
	} {
		if err := write(&seen); err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(seen.String(), report.Sealed) {
		t.Error("no record says that something may be hidden")
	}
	class, err := ClassOf(s.db, "", "")
	if err != nil {
		t.Fatal(err)
	}
	if err := class.Text(&seen); err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		seen.WriteString("\n" + path + "\n")
		seen.Write(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	dump(t, filepath.Join(dir, "log.db"), &seen)
	return seen.Bytes()
}

// dump writes each value of each table of a log on a line of its own: in the file's bytes words
// stand side by side.
func dump(t *testing.T, path string, w io.Writer) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT name FROM sqlite_schema WHERE type IN ('table', 'view')")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var table string
		if err := rows.Scan(&table); err != nil {
			t.Fatal(err)
		}
		n += dumpTable(t, db, table, w)
	}
	if n < 100 {
		t.Errorf("%d values in the log only", n)
	}
}

func dumpTable(t *testing.T, db *sql.DB, table string, w io.Writer) (n int) {
	t.Helper()
	rows, err := db.Query("SELECT * FROM " + table)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	for rows.Next() {
		cells := make([]any, len(names))
		for i := range cells {
			cells[i] = new(any)
		}
		if err := rows.Scan(cells...); err != nil {
			t.Fatal(err)
		}
		for _, c := range cells {
			fmt.Fprintf(w, "%v\n", *c.(*any))
			n++
		}
	}
	return n
}
