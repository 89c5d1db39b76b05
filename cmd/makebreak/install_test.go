package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/analyze/metrics/monitoring"
	"makebreak/sequences/service"
	"makebreak/testdata/tool"
)

// What is shown is what is written; a settings file that is there stays.
func TestInstall(t *testing.T) {
	root := t.TempDir()
	for _, none := range []string{filepath.Join(root, "none"), "install_test.go"} {
		for _, how := range []string{"--yes", "--dry-run"} {
			if status, _, errs := run(t, "install", "--root", none, how); status != exitUsage || !strings.Contains(errs, "there is no such folder") {
				t.Errorf("--root %s %s: exit status %d: %s", none, how, status, errs)
			}
		}
		if _, err := os.Stat(filepath.Join(none, "etc")); err == nil {
			t.Errorf("%s was made", none)
		}
	}
	status, shown, errs := run(t, "install", "--root", root)
	if status != exitPass || !strings.Contains(shown, "Nothing has been written") {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	if entries, err := os.ReadDir(root); err != nil || len(entries) > 0 {
		t.Fatalf("without --yes there are %v: %v", entries, err)
	}
	conf := filepath.Join(root, "etc", "makebreak", "soak.conf")
	for _, own := range []bool{false, true} {
		if status, _, errs := run(t, "install", "--root", root, "--yes"); status != exitPass {
			t.Fatalf("exit status %d: %s", status, errs)
		}
		b, err := os.ReadFile(conf)
		if err != nil {
			t.Fatal(err)
		}
		if got := string(b) == "SOAK=mine\n"; got != own {
			t.Errorf("the settings are %q", b)
		}
		if err := os.WriteFile(conf, []byte("SOAK=mine\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	i, err := service.Open(root, service.Prefixes[0])
	if err != nil {
		t.Fatal(err)
	}
	defer i.Close()
	for _, f := range i.Files {
		b, err := os.ReadFile(filepath.Join(root, f.Path))
		if err != nil {
			t.Fatal(err)
		}
		if info, err := os.Stat(filepath.Join(root, f.Path)); err != nil || info.Mode() != f.Mode {
			t.Errorf("%s: mode %v, want %v", f.Path, info.Mode(), f.Mode)
		}
		first, _, _ := strings.Cut(string(b), "\n")
		if f.Source != "" && !f.Keep && !strings.Contains(shown, first) {
			t.Errorf("%s was not shown", f.Path)
		}
	}
	for _, wrong := range [][]string{{"--yes", "--dry-run"}, {"--move-old"}, {"--prefix", "/opt"}} {
		if status, _, _ := run(t, append([]string{"install", "--root", root}, wrong...)...); status != exitUsage {
			t.Errorf("%v: exit status %d", wrong, status)
		}
	}
	for _, name := range monitoring.Names() {
		want, _ := monitoring.Files.ReadFile(name)
		if got, err := os.ReadFile(filepath.Join(root, "usr/local/share/makebreak/monitoring", name)); err != nil || len(want) == 0 || string(got) != string(want) {
			t.Errorf("%s: %d bytes of %d: %v", name, len(got), len(want), err)
		}
	}
	verifyUnit(t, root, "makebreak-soak@.service")
	verifyUnit(t, root, "makebreak-serve.service")
	findFiles(t, root)
}

// findFiles has the readers of the other files look for them where they are.
func findFiles(t *testing.T, root string) {
	t.Helper()
	for kind, name := range map[string]string{"sysusers.d": "makebreak.conf", "udev/rules.d": "60-makebreak.rules"} {
		out, err := exec.Command("systemd-analyze", "cat-config", "--root="+root, kind).CombinedOutput()
		if err != nil || !strings.Contains(string(out), "# "+filepath.Join(root, "usr/local/lib", kind, name)) {
			t.Errorf("%s is not read: %v\n%s", name, err, out)
		}
	}
}

// verifyUnit lets systemd's own checker read a unit.
func verifyUnit(t *testing.T, root, name string) {
	t.Helper()
	checker := tool.Find(t, "systemd-analyze")
	unit := filepath.Join(t.TempDir(), name)
	text, err := os.ReadFile(filepath.Join(root, "usr/local/lib/systemd/system", name))
	if err != nil {
		t.Fatal(err)
	}
	// The checker looks for the program where the unit says it is.
	program := strings.ReplaceAll(filepath.Join(root, "usr/local/bin/makebreak"), " ", `\x20`)
	if err := os.WriteFile(unit, []byte(strings.ReplaceAll(string(text), "/usr/local/bin/makebreak", program)), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(checker, "verify", "--man=no", unit).CombinedOutput()
	if err != nil || strings.Contains(string(out), name) {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
	if v := systemdVersion(t, checker); v < 250 {
		t.Logf("NOT CHECKED: how exposed the unit is; systemd %d cannot tell of a unit that is not loaded, 250 can", v)
		return
	}
	out, err = exec.Command(checker, "security", "--offline=yes", "--threshold=25", unit).CombinedOutput()
	if err != nil {
		t.Errorf("the unit is exposed by more than 2.5 of 10 by systemd's own measure: %v\n%s", err, out)
	}
}

// systemdVersion reads the first line of systemd-analyze --version, "systemd 252 (...)".
func systemdVersion(t *testing.T, checker string) (version int) {
	t.Helper()
	out, err := exec.Command(checker, "--version").Output()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscanf(string(out), "systemd %d", &version); err != nil {
		t.Fatalf("%q: %v", out, err)
	}
	return version
}
