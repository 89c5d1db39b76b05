// Package version says which code a program is, for every record that it writes.
package version

import (
	"bytes"
	"context"
	"crypto/sha256"
	"debug/elf"
	"encoding/hex"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"time"
)

// Program says which code this is: the release, where its build was given one, or the module's
// version with its commit, or what git says of the source that "go run" has just built. Code
// that no commit stands for, changed or without a repository, is told by the program's own sum.
func Program(release string) string {
	v := release
	info, ok := debug.ReadBuildInfo()
	if ok && v == "" && info.Main.Version != "(devel)" {
		v = info.Main.Version
	}
	if v == "" {
		v = sourceVersion()
	}
	commit, changed := committed(info)
	if commit != "" && !strings.Contains(v, commit) {
		v = strings.TrimSpace(v + " " + commit)
	}
	if v == "" || changed || strings.HasSuffix(v, "dirty") {
		v = strings.TrimSpace(v + " " + ownSum())
	}
	return v
}

// committed returns the commit that a build has kept, and whether the source differed.
func committed(info *debug.BuildInfo) (commit string, changed bool) {
	if info == nil {
		return "", false
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			commit = s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			changed = s.Value == "true"
		}
	}
	return commit, changed
}

// sourceVersion asks git what the source is of which "go run" has just built this program:
// such a build keeps no commit. It is empty for any other program, whose source may have
// changed since, and where there is no git.
func sourceVersion() string {
	self, err := os.Executable()
	_, source, _, ok := runtime.Caller(0)
	if err != nil || !ok || !filepath.IsAbs(source) || !strings.Contains(self, "go-build") || strings.HasSuffix(self, ".test") {
		return ""
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, "git", "-C", filepath.Dir(source), "describe", "--always", "--tags", "--dirty", "--abbrev=12").Output()
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(out))
}

// ownSum tells this program from any other: the linker's sum of its contents, or where that
// is not in the file the SHA-256 of all of it, the first 12 signs.
func ownSum() string {
	self, err := os.Executable()
	if err != nil {
		return "unknown"
	}
	sum := linkerSum(self)
	if sum == "" {
		if sum, err = fileSum(self); err != nil {
			return "unknown"
		}
	}
	return "build " + sum[:12]
}

// linkerSum reads the last part of a program's build ID, which go build makes of all that it
// has linked. It is empty where there is none.
func linkerSum(path string) string {
	f, err := elf.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	note := f.Section(".note.go.buildid")
	if note == nil {
		return ""
	}
	id, err := note.Data()
	if err != nil {
		return ""
	}
	id = bytes.TrimRight(id, "\x00")
	sum := string(id[bytes.LastIndexByte(id, '/')+1:])
	if len(sum) != 20 { // base64 of 15 bytes; a build ID of another's making
		return ""
	}
	return sum
}

func fileSum(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
