package service

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"makebreak/rig/problem"
)

// card is a system's files below a folder, and a folder beside it that nothing may touch.
func card(t *testing.T) (root, outside string) {
	t.Helper()
	dir := t.TempDir()
	root, outside = filepath.Join(dir, "card"), filepath.Join(dir, "outside")
	for _, d := range []string{root, outside} {
		if err := os.Mkdir(d, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return root, outside
}

// put makes what a test needs below a folder: a folder "a/", a link "a -> b", or a file.
func put(t *testing.T, root string, names ...string) {
	t.Helper()
	for _, name := range names {
		name, to, link := strings.Cut(name, " -> ")
		at := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			t.Fatal(err)
		}
		var err error
		switch {
		case link:
			err = os.Symlink(to, at)
		case strings.HasSuffix(name, "/"):
			err = os.MkdirAll(at, 0o755)
		default:
			err = os.WriteFile(at, []byte("mine"), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func install(t *testing.T, root, prefix string, moveOld bool) (told string, err error) {
	t.Helper()
	i, err := Open(root, prefix)
	if err != nil {
		t.Fatal(err)
	}
	defer i.Close()
	var all strings.Builder
	err = i.Write(moveOld, func(text string) { all.WriteString(text + "\n") })
	return all.String(), err
}

// entries lists what is below a folder.
func entries(t *testing.T, dir string) (all []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, _ os.DirEntry, err error) error {
		if path != dir {
			all = append(all, strings.TrimPrefix(path, dir+"/"))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// No link in the tree leads out of it, at whatever folder and however it is written.
func TestWrite_Links(t *testing.T) {
	t.Parallel()
	for _, folder := range []string{"etc", "etc/makebreak", "usr", "usr/local", "usr/local/bin", "usr/local/lib", "usr/local/lib/udev", "usr/local/lib/udev/rules.d", "usr/local/lib/systemd", "usr/local/lib/systemd/system"} {
		for _, kind := range []string{"absolute", "relative", "by another link", "through a file", "in a circle"} {
			t.Run(folder+"/"+kind, func(t *testing.T) {
				t.Parallel()
				root, outside := card(t)
				up := strings.Repeat("../", strings.Count(folder, "/")+1) + "outside"
				switch kind {
				case "absolute":
					put(t, root, folder+" -> "+outside)
				case "relative":
					put(t, root, folder+" -> "+up)
				case "by another link":
					put(t, root, "first -> ../outside", folder+" -> /first")
				case "through a file":
					put(t, root, "file", folder+" -> /file/below")
				case "in a circle":
					put(t, root, "first -> /second", "second -> first", folder+" -> /second/x")
				}
				told, err := install(t, root, byHand, true)
				if problem.KindOf(err) != problem.Storage || !strings.Contains(err.Error(), root) {
					t.Errorf("%v; told %s", err, told)
				}
				if got := entries(t, outside); len(got) > 0 {
					t.Errorf("outside there are %v", got)
				}
			})
		}
	}
}

// A link within the tree leads where it would in the system that it holds.
func TestWrite_LinksWithin(t *testing.T) {
	t.Parallel()
	for name, links := range map[string][]string{
		"absolute":            {"opt/conf/", "etc/makebreak -> /opt/conf"},
		"relative":            {"opt/conf/", "etc/makebreak -> ../opt/conf"},
		"above the root":      {"opt/conf/", "etc/makebreak -> ../../../../opt/conf"},
		"of several":          {"opt/conf/", "a -> /opt", "b -> a/", "etc/makebreak -> /b/./conf/../conf"},
		"of the folder above": {"opt/etc/", "etc -> opt/etc", "opt/conf/", "opt/etc/makebreak -> ../conf"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			root, outside := card(t)
			put(t, root, links...)
			if _, err := install(t, root, byHand, false); err != nil {
				t.Fatal(err)
			}
			b, err := os.ReadFile(filepath.Join(root, "opt/conf/soak.conf"))
			if err != nil || !strings.HasPrefix(string(b), "# What makebreak-soak@soak runs") {
				t.Errorf("%v: %q", err, b)
			}
			if got := entries(t, outside); len(got) > 0 {
				t.Errorf("outside there are %v", got)
			}
		})
	}
}

// What is an administrator's stays, whatever it is; the program's own files are replaced, and
// not what a link of their name leads to.
func TestWrite_Keeps(t *testing.T) {
	t.Parallel()
	const conf, unit, dropIn = "etc/makebreak/soak.conf", "usr/local/lib/systemd/system/makebreak-soak@.service", "etc/systemd/system/makebreak-soak@.service.d/mine.conf"
	for name, own := range map[string]string{"a file": conf, "a link": conf + " -> /etc/mine.conf", "a link to nothing": conf + " -> /etc/none", "a link out": conf + " -> ../../../outside/mine.conf", "a folder": conf + "/"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			root, outside := card(t)
			put(t, root, own, "etc/mine.conf", "etc/makebreak/rig.yaml", "etc/makebreak/bench-2.conf", dropIn, "elsewhere", unit+" -> /elsewhere")
			put(t, outside, "mine.conf")
			before, err := os.Lstat(filepath.Join(root, conf))
			if err != nil {
				t.Fatal(err)
			}
			told, err := install(t, root, byHand, false)
			if err != nil || !strings.Contains(told, conf+" is there and stays as it is\n") {
				t.Fatalf("%v: told %s", err, told)
			}
			if after, err := os.Lstat(filepath.Join(root, conf)); err != nil || !os.SameFile(before, after) {
				t.Errorf("%s is another file now: %v", conf, err)
			}
			for _, mine := range []string{"card/etc/makebreak/rig.yaml", "card/etc/makebreak/bench-2.conf", "card/" + dropIn, "card/elsewhere", "outside/mine.conf"} {
				if b, err := os.ReadFile(filepath.Join(root, "..", mine)); err != nil || string(b) != "mine" {
					t.Errorf("%s: %v, %q", mine, err, b)
				}
			}
			if info, err := os.Lstat(filepath.Join(root, unit)); err != nil || info.Mode() != 0o644 {
				t.Errorf("%s: %v, %v", unit, info.Mode(), err)
			}
		})
	}
}

// Modes are as they should be whatever the mask of who installs; a folder that is there keeps
// its own. Not parallel: the mask is the whole process's.
func TestWrite_Modes(t *testing.T) {
	for _, mask := range []int{0o077, 0o777, 0o022, 0} {
		root, _ := card(t)
		put(t, root, "etc/")
		if err := os.Chmod(filepath.Join(root, "etc"), 0o700); err != nil {
			t.Fatal(err)
		}
		was := syscall.Umask(mask)
		_, err := install(t, root, byPackage, false)
		syscall.Umask(was)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range entries(t, root) {
			info, err := os.Stat(filepath.Join(root, name))
			if err != nil {
				t.Fatal(err)
			}
			want := os.FileMode(0o644)
			switch {
			case name == "etc":
				want = os.ModeDir | 0o700
			case info.IsDir():
				want = os.ModeDir | 0o755
			case name == "usr/bin/makebreak":
				want = 0o755
			}
			if info.Mode() != want {
				t.Errorf("umask %03o: %s has mode %v, want %v", mask, name, info.Mode(), want)
			}
		}
	}
}

// A file that cannot be written leaves nothing of itself, and what was there.
func TestWrite_Whole(t *testing.T) {
	t.Parallel()
	root, _ := card(t)
	const unit = "usr/local/lib/systemd/system/makebreak-soak@.service"
	put(t, root, unit+"/") // a folder is in the way
	_, err := install(t, root, byHand, false)
	if problem.KindOf(err) != problem.Storage || !strings.Contains(err.Error(), unit+" cannot be written") {
		t.Errorf("%v", err)
	}
	if got := strings.Join(entries(t, filepath.Join(root, "usr/local/lib/systemd/system")), " "); got != "makebreak-soak@.service" {
		t.Errorf("there are %s", got)
	}
}
