package service

import (
	"io/fs"
	"path"
	"slices"
	"strconv"
)

// former are files that earlier versions wrote among the administrator's, where they hold
// instead of those in Prefix.
var former = []string{formerUnit, "etc/udev/rules.d/60-makebreak.rules", "etc/sysusers.d/makebreak.conf"}

const (
	formerUnit = "etc/systemd/system/makebreak-soak.service"
	// formerEnabled is what systemctl enable made of it.
	formerEnabled = "etc/systemd/system/multi-user.target.wants/makebreak-soak.service"
	// formerDropIns are the administrator's changes to it.
	formerDropIns = "etc/systemd/system/makebreak-soak.service.d"
)

// remains tells what is there of earlier installations, and what to do about it.
func (i *Installation) remains(tell func(text string)) {
	for _, name := range former {
		if i.tree.find(name) == "" {
			continue
		}
		tell(i.path(name) + " is of an earlier installation" + i.meaning(name))
	}
	if i.tree.find(formerDropIns) != "" {
		tell(i.path(formerDropIns) + " does not change makebreak-soak@soak; move what is in it to " + i.path("etc/systemd/system/makebreak-soak@.service.d"))
	}
	for _, f := range i.Files {
		for _, before := range f.before {
			if i.tree.find(before) != "" && !slices.Contains(former, before) {
				tell(i.path(before) + " holds instead of " + i.path(f.Path))
			}
		}
	}
}

// meaning is what an earlier installation's file does.
func (i *Installation) meaning(name string) string {
	if name == formerUnit {
		return "; makebreak-soak@soak takes its place, with the same soak.conf and log. End it (systemctl disable --now makebreak-soak), then install --yes --move-old renames it"
	}
	return " and holds instead of the new one; install --yes --move-old renames it"
}

// moveOld renames the files of earlier installations, so that nothing reads them any more.
func (i *Installation) moveOld(tell func(text string)) error {
	for _, name := range former {
		at := i.tree.find(name)
		if at == "" {
			continue
		}
		to := at + ".old"
		for n := 2; i.tree.find(to) != ""; n++ {
			to = at + ".old-" + strconv.Itoa(n)
		}
		if err := i.tree.Rename(at, to); err != nil {
			return i.failed(name, "renamed", err)
		}
		tell(i.path(name) + " renamed to " + path.Base(to))
	}
	return i.disableFormer(tell)
}

// disableFormer removes the link by which the former unit is started, which leads to nothing
// once that is renamed.
func (i *Installation) disableFormer(tell func(text string)) error {
	at := i.tree.find(formerEnabled)
	if at == "" {
		return nil
	}
	if info, err := i.tree.Lstat(at); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		return nil
	}
	if err := i.tree.Remove(at); err != nil {
		return i.failed(formerEnabled, "removed", err)
	}
	tell(i.path(formerEnabled) + " removed: the former service is started no more")
	return nil
}
