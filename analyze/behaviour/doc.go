// Package behaviour sets side by side what each output had to do at each event and what it
// did there: first the figures, from which text, page and whatever else shows them makes
// sentences.
package behaviour
