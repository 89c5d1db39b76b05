package main

import (
	"encoding/binary"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"makebreak/sequences/journal"
)

// logFiles are the files of a log in use, by their ends.
var logFiles = [...]string{"", "-wal", "-shm"}

// logInUse makes a log once that a killed program might have left: with runs of several kinds
// in it, and the last of them in the write-ahead file.
var logInUse = sync.OnceValues(func() (files [len(logFiles)][]byte, err error) {
	dir, err := os.MkdirTemp("", "makebreak-log-in-use-")
	if err != nil {
		return files, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "log.db")
	do := func(args ...string) {
		bounded(append(args, "--log", path, "--seed", "3"), streams{strings.NewReader(""), &strings.Builder{}, &strings.Builder{}})
	}
	do("run", "armed-high", "--cycles", "2", "--unit", "A")
	do("soak", "relay-only", "--cycles", "12", "--unit", "B", "--fault", "welded", "--yes")
	db, err := journal.Open(path) // what is stored from here on stays in the write-ahead file
	if err != nil {
		return files, err
	}
	defer db.Close()
	do("soak", "relay-only", "--cycles", "12", "--unit", "C", "--yes")
	do("run", "armed-high", "--cycles", "1", "--unit", "D")
	do("soak", "relay-only", "--cycles", "30", "--unit", "E", "--fault", "welded", "--stop-on-fail", "--yes") // one to go on with
	for i, end := range logFiles {
		if files[i], err = os.ReadFile(path + end); err != nil {
			return files, err
		}
	}
	return files, nil
})

// mutate changes files as the bytes of a recipe say, eight bytes a change: which file and what
// is done, where, how much, and with what.
func mutate(files *[len(logFiles)][]byte, recipe []byte) {
	const most = 12 // changes
	for n := 0; len(recipe) >= 8 && n < most; n, recipe = n+1, recipe[8:] {
		which := [...]int{0, 0, 0, 1, 1, 2}[recipe[0]%6]
		b := files[which]
		if len(b) == 0 {
			continue
		}
		at := int(binary.LittleEndian.Uint32(append(slices.Clone(recipe[2:5]), 0))) % len(b)
		if recipe[0]&0x40 != 0 { // a page's head, where most of its form is
			at = min(at/4096*4096+at%64, len(b)-1)
		}
		size := min(int(recipe[5])*int(recipe[5])/16+1, len(b)-at)
		switch recipe[1] % 8 {
		case 0, 1:
			b[at] ^= 1 << (recipe[6] % 8)
		case 2:
			b[at] = recipe[6]
		case 3:
			for i := range size {
				b[at+i] = recipe[6] * byte(i|1)
			}
		case 4:
			files[which] = b[:at]
		case 5:
			files[which] = slices.Insert(b, at, b[:size]...)
		case 6:
			copy(b[at:], b[int(recipe[7])*len(b)/256:][:min(size, len(b)-int(recipe[7])*len(b)/256)])
		case 7:
			files[which] = slices.Delete(b, at, at+size)
		}
	}
}

// jargon are words that a library or the runtime has put into a message.
var jargon = regexp.MustCompile(`sql:|Scan error|driver\.Value|SQL logic|unmarshal|strconv|panic|runtime error|goroutine|nil pointer|%!|invalid syntax|index out of range`)

// logCommands are what the program does with a log, each without changing it, or hardly.
func logCommands() [][]string {
	all := [][]string{
		{"runs"}, {"runs", "--as", "csv"}, {"runs", "--as", "json"}, {"runs", "check"}, {"runs", "prune", "--older-than", "0d", "--whole-runs"},
		{"report", "last", "--capture", "1"}, {"soak", "reliability", "last"}, {"soak", "--resume", "last", "--yes", "--stop-on-fail"},
		{"soak", "relay-only", "--go-on", "--unit", "C", "--cycles", "12", "--seed", "3", "--yes"},
	}
	for _, form := range []string{"text", "csv", "json", "html"} {
		all = append(all, []string{"report", "last", "--as", form})
	}
	return all
}

// tryLog does with mutated files all that is done with a log.
func tryLog(t *testing.T, recipe []byte) {
	t.Helper()
	whole, err := logInUse()
	if err != nil {
		t.Fatal(err)
	}
	var files [len(logFiles)][]byte
	for i := range whole {
		files[i] = slices.Clone(whole[i])
	}
	mutate(&files, recipe)
	dir := t.TempDir()
	put := func(name string) string {
		path := filepath.Join(dir, name)
		if err := os.Mkdir(filepath.Dir(path), 0o700); err != nil && !os.IsExist(err) {
			t.Fatal(err)
		}
		for i, end := range logFiles {
			if err := os.WriteFile(path+end, files[i], 0o600); err != nil {
				t.Fatal(err)
			}
		}
		return path
	}
	path := put("log.db")
	for _, args := range logCommands() {
		status, out, errs := run(t, append(args, "--log", path)...)
		switch status {
		case exitPass, exitFail, exitUndecided, exitUsage, exitInput, exitLog:
		default:
			t.Errorf("%v: exit status %d: %s", args, status, errs)
		}
		if found := jargon.FindString(errs); found != "" {
			t.Errorf("%v says %q: %s", args, found, errs)
		}
		if args[0] == "runs" && slices.Contains(args, "check") {
			if found := jargon.FindString(out); found != "" {
				t.Errorf("%v says %q: %s", args, found, out)
			}
		}
	}
	// A run that is gone on with stores its next cycle, or says why not.
	db, err := journal.Open(put("again/log.db"))
	if err != nil {
		return
	}
	defer db.Close()
	runs, err := db.Runs()
	if err != nil {
		return
	}
	for _, r := range runs {
		if again, err := db.Resume(r.Run, time.Unix(1_900_000_000, 0), ""); err == nil {
			err = again.Append(&journal.Cycle{N: 1 << 20, Started: time.Unix(1_900_000_000, 0)})
			if err != nil && jargon.MatchString(err.Error()) {
				t.Errorf("to store a cycle: %v", err)
			}
		}
	}
}

// Whatever the bytes of a log in use, the program ends with one of its own exit statuses, and
// in its own words, and takes no memory that the files do not account for.
func FuzzLog(f *testing.F) {
	f.Add([]byte{})
	rng := rand.New(rand.NewPCG(1, 5))
	seeds := 24
	if testing.Short() {
		seeds = 4
	}
	for i := range seeds {
		recipe := make([]byte, 8*(1+i%4))
		for k := range recipe {
			recipe[k] = byte(rng.Uint32())
		}
		f.Add(recipe)
	}
	f.Fuzz(func(t *testing.T, recipe []byte) {
		forgetPeak()
		tryLog(t, recipe)
		if used := peakResident(); used > 3000 {
			t.Errorf("the peak of memory is %.0f MiB", used)
		}
	})
}

// forgetPeak gives back the memory that other tests of this process have left, and has the kernel
// begin the peak anew: proc_pid_clear_refs(5) of Linux. Elsewhere nothing is known of a peak.
func forgetPeak() {
	debug.FreeOSMemory()
	_ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0o200)
}

// peakResident returns the most resident memory that this process has had since its peak was
// forgotten, in MiB; 0: it is not known here.
func peakResident() (mib float64) {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	if _, after, ok := strings.Cut(string(status), "VmHWM:"); ok {
		kib, _ := strconv.ParseFloat(strings.Fields(after)[0], 64)
		mib = kib / 1024
	}
	return mib
}
