package gpioline

import (
	"fmt"
	"slices"
	"strings"
)

// nearNames returns up to five of the names that someone who wrote want may
// have meant, the likeliest first.
func nearNames(want string, names []string) []string {
	type near struct {
		name string
		far  int
	}
	var found []near
	low := strings.ToLower(want)
	for _, n := range names {
		other := strings.ToLower(n)
		far := distance(low, other)
		if far <= 2 || strings.Contains(other, low) || (other != "" && strings.Contains(low, other)) {
			found = append(found, near{n, far})
		}
	}
	slices.SortStableFunc(found, func(a, b near) int { return a.far - b.far })
	var out []string
	for _, f := range found[:min(len(found), 5)] {
		out = append(out, f.name)
	}
	return out
}

// distance is the number of letters to put in, take out or change to make one
// word of the other (Levenshtein's).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	row := make([]int, len(t)+1)
	for j := range row {
		row[j] = j
	}
	for i := range s {
		diagonal := row[0]
		row[0] = i + 1
		for j := range t {
			change := diagonal
			if s[i] != t[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(t)]
}

// list joins words as a sentence does, at most ten of them.
func list(words []string) string {
	if n := len(words); n > 10 {
		return fmt.Sprintf("%s and %d more", strings.Join(words[:10], ", "), n-10)
	}
	return strings.Join(words, ", ")
}
