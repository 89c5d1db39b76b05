package process

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

// What the guard is told comes out as it was put in.
func TestWatchMessage_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want []Act
		var descriptors []int
		for i := range rapid.IntRange(0, 9).Draw(t, "acts") {
			want = append(want, Act{Descriptor: i + 5, Ioctl: rapid.Uint32().Draw(t, "ioctl"), Bytes: []byte(rapid.String().Draw(t, "bytes"))})
			descriptors = append(descriptors, i+5)
		}
		alarms := rapid.IntRange(0, 3).Draw(t, "alarms")
		for i := range alarms {
			descriptors = append(descriptors, i+90)
		}
		n := rapid.IntRange(0, 1<<31-1).Draw(t, "number")
		m := WatchMessage(n, want, alarms)
		number, w, err := readWatch(m[1:], descriptors)
		if m[0] != Watch || err != nil || number != n || len(w.alarms) != alarms {
			t.Fatalf("%c, number %d, %v: %v", m[0], number, w, err)
		}
		if d := cmp.Diff(want, w.acts); d != "" {
			t.Fatal(d)
		}
	})
}

// A message of another form, and one whose descriptors did not come along, are refused, however
// they are cut.
func TestWatchMessage_Cut(t *testing.T) {
	m := WatchMessage(7, []Act{{Ioctl: 1, Bytes: []byte("abc")}, {Bytes: []byte("d")}}, 1)
	for n := range len(m) - 1 {
		if _, w, err := readWatch(m[1:1+n], []int{3, 4, 5}); err == nil {
			t.Errorf("cut to %d bytes it is read as %+v", n, w)
		}
	}
	if _, _, err := readWatch(m[1:], []int{3, 4}); err == nil {
		t.Error("a descriptor is missing")
	}
	if number, failed, err := Answer(AnswerMessage(3, "why")); number != 3 || failed != "why" || err != nil {
		t.Errorf("answer %d %q: %v", number, failed, err)
	}
	if _, _, err := Answer([]byte{0, 0, 0, 1, 0, 0, 0, 9, 'a'}); err == nil {
		t.Error("an answer that is cut is read")
	}
}

// The newest reports are kept, each whole and bounded; a folder that is not there gets none.
func TestReport_Write(t *testing.T) {
	r := Report{Path: filepath.Join(t.TempDir(), "log.db-crash"), Program: "v1", Run: "a run"}
	at := time.Date(2026, 11, 28, 10, 31, 2, 0, time.UTC)
	for i := range older + 3 {
		r.write(append([]byte{'0' + byte(i), '\n'}, bytes.Repeat([]byte("x"), longestReport)...), at)
	}
	for n, path := range Paths(r.Path)[1:] {
		b, err := os.ReadFile(path)
		want := "time:    2026-11-28 10:31:02 UTC\nprogram: v1\nrun:     a run\nended:   crashed: " + string(rune('0'+older+2-n)) + "\n"
		if err != nil || !strings.HasPrefix(string(b), want) || len(b) != longestReport {
			t.Errorf("%s: %v, %d bytes\n%.200s\nwant %s", path, err, len(b), b, want)
		}
	}
	left, err := filepath.Glob(r.Path + "*")
	if err != nil || len(left) != older+1 {
		t.Errorf("%v are there", left)
	}
	r.Path = filepath.Join(t.TempDir(), "none", "log.db-crash")
	r.write(nil, at)
	(&Report{}).write(nil, at)
}

// A disk that is nearly full gets a short report; one that is full keeps the one before.
func TestReport_FullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=16k"); err != nil {
		t.Skip("mounting needs root: ", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	r := Report{Path: filepath.Join(dir, "log.db-crash")}
	crash := bytes.Repeat([]byte("x"), longestReport)
	r.write(crash, time.Now())
	if b, err := os.ReadFile(r.Path); err != nil || len(b) != shortReport {
		t.Errorf("%d bytes: %v", len(b), err)
	}
	if err := os.WriteFile(filepath.Join(dir, "full"), make([]byte, 12<<10), 0o600); err != nil {
		t.Fatal(err)
	}
	r.write(crash, time.Now())
	if b, err := os.ReadFile(r.Path); err != nil || len(b) != shortReport {
		t.Errorf("full: %d bytes: %v", len(b), err)
	}
	if left := entries(t, dir); left != "full log.db-crash" {
		t.Errorf("full: there are %s", left)
	}
}

// entries are the names of a folder's files.
func entries(t *testing.T, dir string) string {
	t.Helper()
	all, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range all {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// What the runtime found is not in its report: it says where.
func TestReport_Cause(t *testing.T) {
	for crash, want := range map[string]string{
		"\npanic: on purpose\nmore":           "panic: on purpose",
		"\ngoroutine 8 gp=0x1 m=3 [running]:": "a fatal error of the Go runtime, in the first goroutine below",
		strings.Repeat("a", 999):              strings.Repeat("a", 200),
		"":                                    "",
	} {
		if got := cause([]byte(crash)); got != want {
			t.Errorf("%.40q: %q, want %q", crash, got, want)
		}
	}
}
