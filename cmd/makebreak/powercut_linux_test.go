package main

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/sequences/journal"
	_ "makebreak/testdata/fixedseed"
	"makebreak/testdata/tool"
)

// What a power cut leaves of a file is what was on the disk by fsync, and of what was written
// since then any 512 bytes or none. A soak's system calls on the files of its log are recorded
// by strace. From them the files are made as they would be after a cut at any call.

// call is one system call on a file in the log's folder.
type call struct {
	name     string
	path, to string // to: of a link or a new name
	data     []byte
	at       int64 // where data was written, or the new size
	made     bool  // the call made the file, where there was none
	told     int   // the number of a cycle that was reported; 0: none was
}

const traced = "trace=openat,open,creat,pwrite64,write,ftruncate,truncate,fsync,fdatasync,sync_file_range,unlink,unlinkat,rename,renameat,renameat2,link,linkat,mkdir,mkdirat"

// recordCalls runs a program under strace in a folder and returns its calls there.
func recordCalls(t *testing.T, dir string, stop func(told int) bool, args ...string) (calls []call) {
	t.Helper()
	tracer := tool.Find(t, "strace")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	aside := t.TempDir()
	program, output := filepath.Join(aside, "makebreak"), filepath.Join(aside, "calls")
	if err := os.Symlink(self, program); err != nil {
		t.Fatal(err)
	}
	// A pipe stands for the terminal, so that what is told can be told from files.
	p := exec.Command(tracer, append([]string{"-f", "-y", "-xx", "-s", "1000000", "-e", "signal=none", "-e", traced, "-o", output, "--", program}, args...)...)
	p.Dir = dir
	p.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	errs, err := p.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	late := time.AfterFunc(2*processPatience, func() { _ = syscall.Kill(-p.Process.Pid, syscall.SIGKILL) })
	defer late.Stop()
	var text strings.Builder
	for s := bufio.NewScanner(errs); s.Scan(); {
		text.WriteString(s.Text() + "\n")
		if m := cycleTold.FindStringSubmatch(s.Text()); m != nil {
			if n, _ := strconv.Atoi(m[1]); stop(n) {
				_ = syscall.Kill(-p.Process.Pid, syscall.SIGKILL)
			}
		}
	}
	err = p.Wait()
	if strings.Contains(text.String(), "ptrace") {
		if tool.Demanded() {
			t.Fatalf("strace may not trace here: %s", text.String())
		}
		t.Skip("NOT CHECKED: strace may not trace here")
	}
	calls = parseCalls(t, dir, output)
	if len(calls) == 0 {
		t.Fatalf("no call was recorded: %v\n%s", err, text.String())
	}
	return calls
}

var (
	callLine   = regexp.MustCompile(`^(\d+) +(?:(\w+)\((.*)|<\.\.\. (\w+) resumed>(.*))$`)
	callResult = regexp.MustCompile(`\) += (-?\d+)`)
	callText   = regexp.MustCompile(`"((?:\\x[0-9a-f]{2})*)"|<((?:\\x[0-9a-f]{2})+)>`)
)

// parseCalls reads what strace has written. A call counts when it returns.
func parseCalls(t *testing.T, dir, output string) (calls []call) {
	t.Helper()
	f, err := os.Open(output)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	begun := map[string]string{}
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		m := callLine.FindStringSubmatch(lines.Text())
		if m == nil {
			continue
		}
		name, rest := m[2], m[3]
		if m[4] != "" {
			name, rest = m[4], begun[m[1]]+m[5]
		}
		if before, unfinished := strings.CutSuffix(rest, " <unfinished ...>"); unfinished {
			begun[m[1]] = before
			continue
		}
		result := callResult.FindAllStringSubmatch(rest, -1)
		if len(result) == 0 {
			continue
		}
		value, _ := strconv.ParseInt(result[len(result)-1][1], 10, 64)
		if value < 0 {
			continue
		}
		if c, ok := parseCall(dir, name, rest, value); ok {
			calls = append(calls, c)
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return calls
}

// parseCall reads one call's arguments; it is of no interest unless it is on a file in the
// folder or reports a cycle.
func parseCall(dir, name, rest string, value int64) (c call, ok bool) {
	var texts []string
	for _, m := range callText.FindAllStringSubmatch(rest, -1) {
		b, _ := hex.DecodeString(strings.ReplaceAll(m[1]+m[2], `\x`, ""))
		texts = append(texts, string(b))
	}
	c.name = name
	inside := func(path string) bool { return path == dir || strings.HasPrefix(path, dir+"/") }
	number := func() int64 { // the last argument
		args := rest[:strings.LastIndex(rest, ") ")]
		n, _ := strconv.ParseInt(strings.TrimSpace(args[strings.LastIndexByte(args, ',')+1:]), 0, 64)
		return n
	}
	var paths []string
	for _, text := range texts {
		if inside(text) {
			paths = append(paths, text)
		}
	}
	if name == "write" && strings.HasPrefix(rest, "2") && len(texts) > 1 {
		for line := range strings.Lines(texts[1]) {
			if m := cycleTold.FindStringSubmatch(line); m != nil {
				c.told, _ = strconv.Atoi(m[1])
			}
		}
		return c, c.told > 0
	}
	if len(paths) == 0 {
		return c, false
	}
	c.path = paths[0]
	switch name {
	case "open", "openat", "creat":
		c.path = paths[len(paths)-1] // after = there is the path again
		c.made = strings.Contains(rest, "O_CREAT")
		c.at = -1
		if strings.Contains(rest, "O_TRUNC") {
			c.at = 0
		}
		return c, c.made || c.at == 0
	case "pwrite64", "write":
		c.data = []byte(texts[1])[:value]
		if name == "pwrite64" {
			c.at = number()
		} else {
			c.at = -1 // to its end
		}
	case "ftruncate", "truncate":
		c.at = number()
	case "unlink", "unlinkat", "mkdir", "mkdirat":
		c.path = paths[len(paths)-1]
	case "link", "linkat", "rename", "renameat", "renameat2":
		names := slices.DeleteFunc(paths, func(p string) bool { return p == dir })
		if len(names) < 2 {
			return c, false
		}
		c.path, c.to = names[0], names[1]
	}
	return c, true
}

// node is a file: what it holds, what of that is on the disk, and what was done since.
type node struct {
	now, safe []byte
	since     []call
}

// folder is a disk with the names that its files have, now and for certain.
type folder struct {
	now, safe map[string]*node
	since     []func(map[string]*node) // what became of names since they were last certain
	told      int
}

func newFolder() *folder { return &folder{now: map[string]*node{}, safe: map[string]*node{}} }

func apply(b []byte, c *call) []byte {
	if c.data == nil {
		return resizeTo(slices.Clone(b), c.at)
	}
	at := c.at
	if at < 0 {
		at = int64(len(b))
	}
	b = slices.Clone(b)
	if end := at + int64(len(c.data)); int64(len(b)) < end {
		b = resizeTo(b, end)
	}
	copy(b[at:], c.data)
	return b
}

func resizeTo(b []byte, n int64) []byte {
	if int64(len(b)) >= n {
		return b[:n]
	}
	return append(b, make([]byte, n-int64(len(b)))...)
}

// do does one call.
func (f *folder) do(c *call) {
	name := func(change func(map[string]*node)) {
		change(f.now)
		f.since = append(f.since, change)
	}
	if c.told > 0 {
		f.told = c.told
		return
	}
	n := f.now[c.path]
	switch c.name {
	case "open", "openat", "creat":
		if n == nil && c.made {
			n = &node{}
			name(func(names map[string]*node) { names[c.path] = n })
		}
		if c.at == 0 && n != nil && len(n.now) > 0 {
			n.write(c)
		}
	case "pwrite64", "write", "ftruncate", "truncate":
		if n != nil {
			n.write(c)
		}
	case "fsync", "fdatasync":
		if n != nil {
			n.safe, n.since = n.now, nil
		} else { // a folder: all names are certain
			f.safe, f.since = maps.Clone(f.now), nil
		}
	case "unlink", "unlinkat":
		name(func(names map[string]*node) { delete(names, c.path) })
	case "link", "linkat":
		if n != nil {
			name(func(names map[string]*node) { names[c.to] = n })
		}
	case "rename", "renameat", "renameat2":
		if n != nil {
			name(func(names map[string]*node) { names[c.to] = n; delete(names, c.path) })
		}
	}
}

func (n *node) write(c *call) {
	n.now = apply(n.now, c)
	n.since = append(n.since, *c)
}

// loss is how much of what is not certain a cut takes.
type loss int

const (
	lossAll  loss = iota // all of it
	lossSome             // any 512 bytes of it or none, and any of the last names
	lossNone             // nothing
)

// after returns the names and contents after a cut.
func (f *folder) after(l loss, t *rapid.T) map[string][]byte {
	names := maps.Clone(f.safe)
	keep := 0
	switch l {
	case lossSome:
		keep = rapid.IntRange(0, len(f.since)).Draw(t, "names")
	case lossNone:
		keep = len(f.since)
	}
	for _, change := range f.since[:keep] {
		change(names)
	}
	files := map[string][]byte{}
	for _, path := range slices.Sorted(maps.Keys(names)) {
		n := names[path]
		switch l {
		case lossAll:
			files[path] = n.safe
		case lossNone:
			files[path] = n.now
		case lossSome:
			files[path] = n.torn(t)
		}
	}
	return files
}

// torn is what is left of a file of which some 512 bytes have come to the disk.
func (n *node) torn(t *rapid.T) []byte {
	const sector = 512
	b := n.safe
	odds := rapid.IntRange(0, 4).Draw(t, "odds")
	seed := rapid.Uint64().Draw(t, "sectors")
	for i := range n.since {
		c := n.since[i]
		if c.data == nil {
			if seed = seed*6364136223846793005 + 1442695040888963407; int(seed>>62) < odds {
				b = apply(b, &c)
			}
			continue
		}
		if c.at < 0 {
			c.at = int64(len(b))
		}
		for from := 0; from < len(c.data); {
			to := min(len(c.data), from+sector-int((c.at+int64(from))%sector))
			if seed = seed*6364136223846793005 + 1442695040888963407; int(seed>>62) < odds {
				b = apply(b, &call{data: c.data[from:to], at: c.at + int64(from)})
			}
			from = to
		}
	}
	return b
}

// Wherever the power is cut in a soak, in the making of its log, a cycle, a checkpoint or the
// reading after a kill, its log can be opened, is sound, and has every cycle that was reported.
func TestSoak_PowerCut(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(dir, "log.db")
	soak := []string{"soak", "relay-only", "--go-on", "--log", log, "--unit", "RB-017", "--seed", "1", "--tell-every", "1", "--keep-first", "20", "--keep-last", "30"}
	until := 120
	if testing.Short() {
		until = 40
	}
	calls := recordCalls(t, dir, func(told int) bool { return told >= until }, append(soak, "--cycles", "1000000")...)
	calls = append(calls, recordCalls(t, dir, func(told int) bool { return told >= 2*until }, append(soak, "--cycles", "1000000")...)...)
	last, synced := 0, 0
	for _, c := range calls {
		last = max(last, c.told)
		if c.name == "fdatasync" {
			synced++
		}
	}
	if last < 2*until-20 || synced < 10 {
		t.Fatalf("of %d calls %d bring data to the disk, and %d cycles are reported: they were not understood", len(calls), synced, last)
	}
	t.Logf("%d calls, %d of them fdatasync, %d cycles", len(calls), synced, last)
	cuts := map[loss]int{}
	rapid.Check(t, func(rt *rapid.T) {
		at := rapid.IntRange(0, len(calls)).Draw(rt, "call")
		l := rapid.SampledFrom([]loss{lossAll, lossSome, lossSome, lossNone}).Draw(rt, "loss")
		f := newFolder()
		for i := range calls[:at] {
			f.do(&calls[i])
		}
		cuts[l]++
		checkCut(rt, t.TempDir(), dir, f, l)
	})
	t.Logf("cuts with all lost that was not synced, some, none: %v", cuts)
}

// checkCut makes the files as a cut leaves them, and looks into the log.
func checkCut(t *rapid.T, dir, was string, f *folder, l loss) {
	for path, b := range f.after(l, t) {
		name := filepath.Join(dir, strings.TrimPrefix(path, was))
		if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(path, "-shm") {
			b = bytes.Repeat([]byte{0xa5, byte(len(path)), 0, 7}, 8<<10) // nothing of it is ever synced
		}
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	log := filepath.Join(dir, "log.db")
	if _, err := os.Stat(log); err != nil {
		if f.told > 0 {
			t.Fatalf("%d cycles were reported, and there is no log", f.told)
		}
		return
	}
	db, err := journal.Open(log)
	if err != nil {
		t.Fatalf("after %d cycles: %v", f.told, err)
	}
	defer db.Close()
	if err := db.Check(); err != nil {
		t.Fatal(err)
	}
	runs, err := db.Runs()
	if err != nil || len(runs) > 1 || len(runs) == 0 && f.told > 0 {
		t.Fatalf("%d cycles were reported; there are %d runs: %v", f.told, len(runs), err)
	}
	if len(runs) == 0 {
		return
	}
	if c, err := db.ReadRun(t.Context(), runs[0]); err != nil || c.Err != nil || c.Cycles < f.told {
		t.Fatalf("%d cycles were reported, %d are there: %v, %v", f.told, c.Cycles, err, c.Err)
	}
	rec, err := db.Find(runs[0].Run)
	if err != nil {
		t.Fatal(err)
	}
	spans, err := rec.Stored()
	if err != nil || f.told > 0 && (len(spans) != 1 || spans[0].First != 1 || spans[0].Last < f.told) {
		t.Fatal(fmt.Sprintf("%d cycles were reported; stored are %v:", f.told, spans), err)
	}
	if _, err := db.Resume(rec.ID, time.Now(), ""); err != nil {
		t.Fatal(err)
	}
}
