package service

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/problem"
)

// What is in the way of a file is told with its path, and a settings file that is there
// stays, however often the service is installed.
func TestWrite(t *testing.T) {
	t.Parallel()
	root, _ := card(t)
	for n := range 2 {
		told, err := install(t, root, byHand, false)
		if err != nil {
			t.Fatal(err)
		}
		conf := filepath.Join(root, "etc/makebreak/soak.conf")
		if b, err := os.ReadFile(conf); err != nil || (string(b) == "mine") != (n == 1) {
			t.Errorf("%v: %q", err, b)
		}
		if err := os.WriteFile(conf, []byte("mine"), 0o644); err != nil {
			t.Fatal(err)
		}
		if lines := strings.Count(told, "\n"); lines != len(filesOf(byHand)) {
			t.Errorf("told: %q", told)
		}
	}
	blocked, _ := card(t)
	put(t, blocked, "usr")
	_, err := install(t, blocked, byHand, false)
	if problem.KindOf(err) != problem.Storage || !strings.HasSuffix(err.Error(), "usr/local/bin/makebreak cannot be written: not a directory") {
		t.Errorf("%v", err)
	}
}

// A package's files go where Debian has a package's; the unit starts the program that is there.
func TestOpen_Prefix(t *testing.T) {
	t.Parallel()
	for prefix, at := range map[string]string{byHand: "usr/local", byPackage: "usr"} {
		root, _ := card(t)
		if _, err := install(t, root, prefix, false); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{at + "/bin/makebreak", at + "/lib/udev/rules.d/60-makebreak.rules", at + "/lib/sysusers.d/makebreak.conf", "etc/makebreak/soak.conf"} {
			if _, err := os.Lstat(filepath.Join(root, name)); err != nil {
				t.Error(err)
			}
		}
		unit, err := os.ReadFile(filepath.Join(root, at, "lib/systemd/system/makebreak-soak@.service"))
		if err != nil || !strings.Contains(string(unit), "\nExecStart=/"+at+"/bin/makebreak soak ") {
			t.Errorf("%v: %s", err, unit)
		}
	}
	if _, err := Open(t.TempDir(), "/opt"); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), "/usr/local") {
		t.Errorf("%v", err)
	}
}

func TestOpen_Root(t *testing.T) {
	t.Parallel()
	for _, none := range []string{filepath.Join(t.TempDir(), "none"), "service.go", ""} {
		if _, err := Open(none, byHand); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), "there is no such folder") {
			t.Errorf("%q: %v", none, err)
		}
	}
}

// An earlier installation's files are told of, and are renamed only where that is asked for.
func TestWrite_Former(t *testing.T) {
	t.Parallel()
	root, _ := card(t)
	put(t, root, former...)
	put(t, root, formerUnit+".old", formerDropIns+"/mine.conf", formerEnabled+" -> /"+formerUnit, "etc/makebreak/soak.conf")
	told, err := install(t, root, byHand, false)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range former {
		if !strings.Contains(told, name+" is of an earlier installation") {
			t.Errorf("%s is not told of: %s", name, told)
		}
		if _, err := os.Lstat(filepath.Join(root, name)); err != nil {
			t.Error(err)
		}
	}
	if !strings.Contains(told, "systemctl disable --now makebreak-soak") || !strings.Contains(told, "makebreak-soak.service.d does not change") {
		t.Errorf("told %s", told)
	}
	if told, err = install(t, root, byHand, true); err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{former[0]: former[0] + ".old-2", former[1]: former[1] + ".old", former[2]: former[2] + ".old", formerEnabled: ""} {
		if _, err := os.Lstat(filepath.Join(root, name)); err == nil {
			t.Errorf("%s is still there", name)
		}
		if b, err := os.ReadFile(filepath.Join(root, to)); to != "" && (err != nil || string(b) != "mine") {
			t.Errorf("%s: %v, %q", to, err, b)
		}
	}
	for _, mine := range []string{formerUnit + ".old", formerDropIns + "/mine.conf", "etc/makebreak/soak.conf"} {
		if b, err := os.ReadFile(filepath.Join(root, mine)); err != nil || string(b) != "mine" {
			t.Errorf("%s: %v, %q", mine, err, b)
		}
	}
	if strings.Contains(told, "is of an earlier installation") {
		t.Errorf("told %s", told)
	}
}

// Files that hold instead of the new ones are told of; they may be an administrator's.
func TestWrite_Shadowed(t *testing.T) {
	t.Parallel()
	const own, byHands = "etc/systemd/system/makebreak-soak@.service", "usr/local/lib/udev/rules.d/60-makebreak.rules"
	for prefix, want := range map[string][]string{byHand: {own}, byPackage: {own, byHands}} {
		root, _ := card(t)
		put(t, root, own, byHands)
		told, err := install(t, root, prefix, true)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Count(told, " holds instead of "); got != len(want) {
			t.Errorf("%s: told %s", prefix, told)
		}
		for _, name := range want {
			if b, err := os.ReadFile(filepath.Join(root, name)); !strings.Contains(told, name+" holds instead of ") || err != nil || string(b) != "mine" {
				t.Errorf("%s: %v, %q; told %s", name, err, b, told)
			}
		}
	}
}

// What is shown writes nothing; a settings file that is there is said to stay.
func TestShow(t *testing.T) {
	t.Parallel()
	root, _ := card(t)
	for _, stays := range []bool{false, true} {
		before := strings.Join(entries(t, root), " ")
		i, err := Open(root, byHand)
		if err != nil {
			t.Fatal(err)
		}
		var w strings.Builder
		if err := i.Show(&w); err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(w.String(), "soak.conf (is there and stays as it is)"); got != stays || !strings.Contains(w.String(), "Nothing has been written; --yes writes it.") {
			t.Errorf("stays %v:\n%s", stays, w.String())
		}
		if after := strings.Join(entries(t, root), " "); after != before {
			t.Errorf("there is now %s", after)
		}
		if err := i.Write(false, func(string) {}); err != nil {
			t.Fatal(err)
		}
		i.Close()
	}
}

// settings are a unit's, or a file's of variables, by their names; one that is set several
// times is joined.
func settings(t *testing.T, name string) map[string]string {
	t.Helper()
	b, err := files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for line := range strings.Lines(string(b)) {
		if name, value, ok := strings.Cut(strings.TrimSpace(line), "="); ok && !strings.HasPrefix(line, "#") {
			all[name] = strings.TrimSpace(all[name] + " " + value)
		}
	}
	return all
}

const soakUnit = "makebreak-soak@.service"

// Which ends of the program start it again, as systemd.service(5) has it for on-failure: all
// but clean ones and those that are excepted. What is over, and what trying again does not
// help, is not begun again; a crash must not be one of them.
func TestUnit_Restart(t *testing.T) {
	t.Parallel()
	s := settings(t, soakUnit)
	if s["Restart"] != "on-failure" || s["StartLimitIntervalSec"] != "0" || s["RestartSec"] == "" {
		t.Fatalf("Restart=%s StartLimitIntervalSec=%s RestartSec=%s", s["Restart"], s["StartLimitIntervalSec"], s["RestartSec"])
	}
	clean := strings.Fields("0 SIGHUP SIGINT SIGTERM SIGPIPE " + s["SuccessExitStatus"])
	excepted := strings.Fields(s["RestartPreventExitStatus"])
	for end, want := range map[string]bool{
		"0": false, "1": false, "2": false, "130": false, "64": false, "65": false, "SIGTERM": false,
		"69": true, "70": true, "74": true, "SIGABRT": true, "SIGSEGV": true, "SIGBUS": true, "SIGKILL": true,
	} {
		has := func(all []string) bool {
			for _, one := range all {
				if one == end {
					return true
				}
			}
			return false
		}
		if got := !has(clean) && !has(excepted); got != want {
			t.Errorf("%s: started again %t, want %t", end, got, want)
		}
	}
}

// The program alone is signalled. With control-group or mixed, systemd would kill the guard over
// the drives as well: before it has released them, where it was the program that had to be killed.
func TestUnit_GuardLives(t *testing.T) {
	t.Parallel()
	if got := settings(t, soakUnit)["KillMode"]; got != "process" {
		t.Errorf("KillMode=%s, want process", got)
	}
}

// A service that a rig was forgotten for does not test the simulated bench; each rig has its
// settings and its report.
func TestUnit_Command(t *testing.T) {
	t.Parallel()
	s := settings(t, soakUnit)
	if s["EnvironmentFile"] != "/etc/makebreak/%i.conf" || s["AssertPathExists"] != s["EnvironmentFile"] {
		t.Errorf("EnvironmentFile=%s AssertPathExists=%s", s["EnvironmentFile"], s["AssertPathExists"])
	}
	if c := s["ExecStart"]; !strings.Contains(c, " --real-rig ") || !strings.HasSuffix(c, " $SOAK") || !strings.Contains(c, "report-%i.txt") {
		t.Errorf("ExecStart=%s", c)
	}
}

// The page is for this machine alone until somebody says otherwise twice: in its settings, which
// name a web configuration, and in a drop-in. It has no device, and gives way to who measures.
func TestUnit_Page(t *testing.T) {
	t.Parallel()
	s, own := settings(t, "makebreak-serve.service"), settings(t, "serve.conf")
	if own["SERVE"] != "--listen localhost:9120" || s["EnvironmentFile"] != "/etc/makebreak/serve.conf" || !strings.HasSuffix(s["ExecStart"], " $SERVE") {
		t.Errorf("SERVE=%s EnvironmentFile=%s ExecStart=%s", own["SERVE"], s["EnvironmentFile"], s["ExecStart"])
	}
	if s["IPAddressDeny"] != "any" || s["IPAddressAllow"] != "localhost" || s["PrivateDevices"] != "yes" || s["DeviceAllow"] != "" || s["Nice"] != "19" {
		t.Errorf("%v", s)
	}
	text, err := files.ReadFile("serve.conf")
	if err != nil || !strings.Contains(string(text), "#   SERVE=--listen :9120 --web-config /etc/makebreak/web.yaml\n") {
		t.Errorf("%v: %s", err, text)
	}
}
