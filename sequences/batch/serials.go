package batch

import (
	"bufio"
	"bytes"
	"fmt"
	"strings"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// ParseSerials reads serials, one a line. Blank lines and those that begin with # are left
// out, and so is what a serial is surrounded by. A serial that stands there twice, or is no
// name, is an error of the kind Input that names file and line.
func ParseSerials(file string, text []byte) (serials []string, err error) {
	seen := map[string]int{}
	s := bufio.NewScanner(bytes.NewReader(text))
	for line := 1; s.Scan(); line++ {
		serial := strings.TrimSpace(strings.TrimPrefix(s.Text(), "\ufeff"))
		if serial == "" || strings.HasPrefix(serial, "#") {
			continue
		}
		if err := words.CheckName(serial); err != nil {
			return nil, problem.Of(problem.Input, fmt.Errorf("%s:%d: %w", words.Safe(file), line, err))
		}
		if first, again := seen[serial]; again {
			return nil, problem.Of(problem.Input, fmt.Errorf("%s:%d: the serial %s stands in line %d already", words.Safe(file), line, words.Safe(serial), first))
		}
		seen[serial] = line
		serials = append(serials, serial)
	}
	if err := s.Err(); err != nil {
		return nil, problem.Of(problem.Input, fmt.Errorf("%s: %w", words.Safe(file), err))
	}
	if len(serials) == 0 {
		return nil, problem.Of(problem.Input, fmt.Errorf("%s: it has no serial; must have one a line", words.Safe(file)))
	}
	return serials, nil
}
