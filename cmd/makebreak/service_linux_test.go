package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// serviceScript starts a service manager of its own, away from the system's, has it run
// instances of the unit, and prints what has become of each: its name, whether it has ended
// or was started again, systemd's result and the exit status.
const serviceScript = `
mount -t tmpfs tmpfs /run && mkdir -p /run/systemd/system /run/user/0 || exit 77
export HOME=$1 XDG_RUNTIME_DIR=/run/user/0
/lib/systemd/systemd --user --log-target=null &
for i in $(seq 100); do systemctl --user is-system-running 2>/dev/null | grep -Eq 'running|degraded' && break; sleep 0.1; done
systemctl --user is-system-running 2>/dev/null | grep -Eq 'running|degraded' || exit 77
tell() {
	for i in $(seq 600); do
		eval "$(systemctl --user show "$1" -p ActiveState,NRestarts,Result,ExecMainStatus,InvocationID)"
		case $NRestarts,$ActiveState in
		0,inactive | 0,failed) echo "$1 ended $Result"; return ;;
		0,*) ;;
		*) echo "$1 again"; systemctl --user stop "$1"; return ;;
		esac
		sleep 0.1
	done
	echo "$1 $ActiveState"
}
shift
for unit; do
	case $unit in
	twice:*) unit=${unit#twice:}; systemctl --user start "$unit" 2>/dev/null; tell "$unit" ;;
	esac
	systemctl --user start "$unit" 2>/dev/null
	tell "$unit"
done
systemctl --user exit
`

// ofSystem are settings that only the system's service manager may apply.
var ofSystem = regexp.MustCompile(`(?m)^(User|Group|StateDirectory|StateDirectoryMode|DevicePolicy|DeviceAllow|CapabilityBoundingSet|AmbientCapabilities|LimitMEMLOCK|Protect\w+|ReadWritePaths|Private\w+|OOMScoreAdjust|IPAddress\w+|MemoryMax|RemoveIPC)=.*\n`)

// systemd itself starts again what should be, and nothing else: which ends of a program are
// an end, that a soak which is complete stays so, and that a forgotten rig is not tested.
func TestService_Restarts(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("left to the whole run of the tests")
	}
	if _, err := os.Stat("/lib/systemd/systemd"); err != nil || os.Geteuid() != 0 {
		t.Skip("NOT CHECKED: takes systemd, and root for a service manager of its own")
	}
	root := t.TempDir()
	if status, _, errs := run(t, "install", "--root", root, "--yes", "--quiet"); status != exitPass {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	home, conf, state := t.TempDir(), t.TempDir(), t.TempDir()
	text := documentText(t, filepath.Join(root, "usr/local/lib/systemd/system/makebreak-soak@.service"))
	text = ofSystem.ReplaceAllString(text, "")
	text = strings.NewReplacer("/etc/makebreak/", conf+"/", "/var/lib/makebreak/", state+"/", "/usr/local/bin/makebreak", asProgram(t, self), "RestartSec=30", "RestartSec=100ms").Replace(text)
	units := filepath.Join(home, ".config/systemd/user")
	if err := os.MkdirAll(units, 0o755); err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(filepath.Join(units, "makebreak-soak@.service"), text)
	page := documentText(t, filepath.Join(root, "usr/local/lib/systemd/system/makebreak-serve.service"))
	page = ofSystem.ReplaceAllString(page, "")
	page = strings.NewReplacer("/etc/makebreak/serve.conf", conf+"/%i.conf", "/var/lib/makebreak/", state+"/", "/usr/local/bin/makebreak", asProgram(t, self), "RestartSec=10", "RestartSec=100ms").Replace(page)
	write(filepath.Join(units, "makebreak-serve@.service"), page)
	stands := regexp.MustCompile(`(?m)^ExecStart=.*$`).ReplaceAllString(text, "ExecStart=/bin/sh -c $${SOAK}")
	write(filepath.Join(units, "ends@.service"), strings.Replace(stands, "Type=notify", "Type=exec", 1))

	args := []string{"--mount", "--propagation", "private", "--pid", "--fork", "--mount-proc", "--kill-child", "bash", "-c", serviceScript, "bash", home}
	want := ""
	for n, c := range []struct{ soak, unit, want string }{
		{"exit 0", "ends", "ended success"}, {"exit 1", "ends", "ended success"}, {"exit 2", "ends", "ended success"}, {"exit 130", "ends", "ended success"},
		{"exit 64", "ends", "ended exit-code"}, {"exit 65", "ends", "ended exit-code"},
		{"exit 69", "ends", "again"}, {"exit 70", "ends", "again"}, {"exit 74", "ends", "again"}, {"kill -SEGV $$", "ends", "again"}, {"kill -ABRT $$", "ends", "again"}, {"kill -KILL $$", "ends", "again"},
		{"relay-only --unit A --cycles 5", "makebreak-soak", "ended exit-code"},
		{"relay-only --unit B --cycles 5 --seed 1 --real-rig=false", "twice:makebreak-soak", "ended success"},
		{"relay-only --unit C --cycles 5 --seed 1 --real-rig=false --fault welded", "twice:makebreak-soak", "ended success"},
		{"--listen :0", "makebreak-serve", "ended exit-code"}, {"--listen localhost:0 --web-config none.yaml", "makebreak-serve", "ended exit-code"},
	} {
		name := fmt.Sprintf("bench-%d", n)
		write(filepath.Join(conf, name+".conf"), "SOAK="+c.soak+"\nSERVE="+c.soak+"\n")
		args = append(args, c.unit+"@"+name)
		unit, twice := strings.CutPrefix(c.unit, "twice:")
		line := unit + "@" + name + " " + c.want + "\n"
		if want += line; twice {
			want += line
		}
	}
	out, err := exec.Command("unshare", args...).Output()
	if err != nil && len(out) == 0 {
		t.Skipf("NOT CHECKED: no service manager can be started here: %v", err)
	}
	if string(out) != want {
		t.Errorf("%v; want\n%s\nis\n%s", err, want, out)
	}
	for name, want := range map[string]bool{"report-bench-13.txt": true, "report-bench-14.txt": true, "report-bench-12.txt": false} {
		if _, err := os.Stat(filepath.Join(state, name)); (err == nil) != want {
			t.Errorf("%s: %v", name, err)
		}
	}
}
