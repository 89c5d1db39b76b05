package outfile

import (
	"os"
	"path/filepath"
)

// Replaced returns which of the files that are read or kept would be replaced by writing a
// file, through links and other names of it, too; empty: none.
func Replaced(name string, kept []string) string {
	for _, k := range kept {
		if same(name, k) {
			return k
		}
	}
	return ""
}

// same reports whether two paths lead to one file. It need not be there yet. A pipe or a
// device is written into and not replaced, so that it is no such file.
func same(a, b string) bool {
	if Special(a) {
		return false
	}
	one, errOne := os.Stat(a)
	two, errTwo := os.Stat(b)
	if errOne == nil && errTwo == nil {
		return os.SameFile(one, two)
	}
	return real(a) == real(b)
}

// real is a path's place as far as its folders are there, with links followed.
func real(path string) string {
	full, err := RealPath(path)
	if err != nil {
		return path
	}
	if dir, err := filepath.EvalSymlinks(filepath.Dir(full)); err == nil {
		return filepath.Join(dir, filepath.Base(full))
	}
	return full
}

// RealPath returns the absolute path of a file with links followed, also those that lead to
// nothing yet.
func RealPath(path string) (string, error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	const links = 10 // in a row that lead to nothing yet
	for range links {
		if p, err := filepath.EvalSymlinks(full); err == nil {
			return p, nil
		}
		to, err := os.Readlink(full)
		if err != nil {
			break
		}
		if !filepath.IsAbs(to) {
			to = filepath.Join(filepath.Dir(full), to)
		}
		full = to
	}
	return full, nil
}
