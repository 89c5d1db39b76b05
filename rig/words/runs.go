package words

import (
	"strconv"
	"strings"
)

// Runs writes three or more names that count up as the first and the last: OUT1 to OUT4.
func Runs(names []string) []string {
	var short []string
	for i := 0; i < len(names); {
		k := i + 1
		for k < len(names) && follows(names[k-1], names[k]) {
			k++
		}
		if k-i >= 3 {
			short = append(short, names[i]+" to "+names[k-1])
		} else {
			short = append(short, names[i:k]...)
		}
		i = k
	}
	return short
}

// follows reports whether two names differ in their numbers at the end alone, and by one.
func follows(a, b string) bool {
	stemA, a := numbered(a)
	stemB, b := numbered(b)
	x, errA := strconv.Atoi(a)
	y, errB := strconv.Atoi(b)
	return errA == nil && errB == nil && stemA == stemB && y == x+1
}

// numbered cuts a name into its stem and its number.
func numbered(name string) (stem, number string) {
	stem = strings.TrimRight(name, "0123456789")
	return stem, name[len(stem):]
}
