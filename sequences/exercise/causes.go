package exercise

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// causeWords are the causes in the words of the list that a trainee chooses from. A test
// asks for each that can be planted.
var causeWords = map[string]string{
	Nothing:            "nothing is wrong",
	"wrong-address":    "output address wrong in the unit's programming",
	"inverted":         "output programmed the wrong way round",
	"slow-delay":       "unit takes too long to switch",
	"missed-cycle":     "output misses some switchings",
	"early-fall":       "output falls back by itself",
	"stuck-low":        "output never switches on",
	"stuck-high":       "output is always on",
	"holding-in":       "off level so high that the relay stays in",
	"high-off-level":   "off level too high, but the relay releases",
	"weak-supply":      "supply voltage too low",
	"hum":              "mains hum on the outputs",
	"droop":            "outputs sag while they are on",
	"loose-wire":       "loose wire from output to rig",
	"swapped-contacts": "make and break contact swapped",
	"dead-relay":       "relay's armature stuck, it never moves",
	"slow-release":     "relay releases too slowly",
	"chatter":          "relay chatters",
	"welded":           "make contact welded",
	"weak-contact":     "make contact worn, it closes now and then",
	"long-bounce":      "contacts bounce for too long",
	"lost-edges":       "rig loses edges of the contacts",
	"lost-ready-edges": "rig loses its converters' ready edges",
	"merged-edges":     "rig sees close edges as one",
	"adc-lost":         "rig's converter falls silent",
	"chip-reset":       "rig's converter resets itself",
	"supply-reset":     "rig's supply resets itself",
	"bus-noise":        "noise on the rig's bus",
	"slow-oscillator":  "rig's converters run too slowly",
	"fast-oscillator":  "rig's converters run too fast",

	"joined-outputs":     "two outputs joined",
	"coil-joint":         "bad joint in the coil's wire",
	"no-flyback":         "flyback diode missing",
	"reversed-flyback":   "flyback diode the wrong way round",
	"coil-open":          "coil open",
	"shorted-turns":      "coil has shorted turns",
	"common-open":        "contacts' common wire open",
	"ground-open":        "0 V of rig and unit not joined",
	"weak-battery":       "weak battery, voltage drops under load",
	"one-arming":         "output follows one way of arming only",
	"wrong-pulse":        "pulse length wrong in the unit's programming",
	"oxidised-contact":   "contact oxidised, high resistance",
	"reference-inverted": "reference line inverted",
	"wearing-bounce":     "contacts wear: bounce grows with the cycles",
	"creeping-operate":   "operate time grows with the cycles",
	"sticking":           "contact sticks more and more, then welds",
}

// Words are the answer in plain words, as in "make contact welded, at K1".
func (a Answer) Words() string {
	text := causeWords[a.Cause]
	if a.Place != "" {
		text += ", at " + a.Place
	}
	return text
}

// ParseAnswer reads an answer of the exercise: CAUSE@PLACE, or the words of the list. Where
// one place only can be meant it may be left out. Two or more of the words, or of the typed name,
// do where they stand in no other answer.
func (d *Definition) ParseAnswer(text string) (Answer, error) {
	text = strings.TrimSpace(text)
	plain := plainWord(text)
	var named []Answer
	for _, a := range d.Answers {
		switch plain {
		case plainWord(a.String()), plainWord(a.Words()):
			return a, nil
		case plainWord(a.Cause), plainWord(causeWords[a.Cause]):
			named = append(named, a)
		}
	}
	if len(named) == 0 {
		named = d.holding(text)
	}
	switch len(named) {
	case 1:
		return named[0], nil
	case 0:
		return Answer{}, problem.New(problem.Usage, fmt.Sprintf("answer %q is not on the list: %s", words.Short(text, words.MostName), d.nearestAnswers(text)))
	}
	return Answer{}, problem.New(problem.Usage, fmt.Sprintf("answer %q can mean several: %s", words.Short(text, words.MostName), words.Or(words.Texts(named, Answer.String))))
}

// holding are the answers in whose words all of two or more typed ones stand.
func (d *Definition) holding(text string) (all []Answer) {
	typed := wordsOf(text)
	if len(typed) < 2 {
		return nil
	}
	for _, a := range d.Answers {
		of := append(wordsOf(a.Words()), wordsOf(a.String())...)
		if !slices.ContainsFunc(typed, func(w string) bool { return !slices.Contains(of, w) }) {
			all = append(all, a)
		}
	}
	return all
}

// wordsOf are the words of a text, in small letters and without marks between.
func wordsOf(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune(",.;:-@", r) })
}

// nearestAnswers suggests what was probably meant.
func (d *Definition) nearestAnswers(text string) string {
	var typed, said []string
	byWords := map[string]string{}
	for _, a := range d.Answers {
		typed, said = append(typed, a.String()), append(said, a.Words())
		byWords[a.Words()] = a.String()
	}
	all := typed
	if strings.Contains(text, " ") {
		all = said
	}
	near := words.Nearest(text, all)
	near = near[:min(3, len(near))]
	for i, n := range near {
		if name, ok := byWords[n]; ok && name != n {
			near[i] = fmt.Sprintf("%s (%s)", name, n)
		}
	}
	const list = "makebreak exercise answer --list shows all"
	if len(near) == 0 {
		return list
	}
	return "did you mean " + words.Or(near) + "? " + list
}

// labelOf makes a number of an exercise's UUID, which stands in the log for the seed of its
// bench.
func labelOf(uuid string) uint64 {
	sum := sha256.Sum256([]byte("makebreak exercise bench\n" + uuid))
	return binary.BigEndian.Uint64(sum[:]) >> 32
}
