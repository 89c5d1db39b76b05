package exercise

import (
	"crypto/pbkdf2"
	cryptorand "crypto/rand"
	"crypto/sha256"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"

	"makebreak/rig/sim"
)

// rounds is how often a word is hashed: who tries words has as much work for each
// (OWASP's recommendation for PBKDF2 with SHA-256, 2023, from memory).
var rounds = 600_000 // fewer in tests

// plainWord makes one of words that differ in their capitals and blanks only, as they are
// said aloud and typed by many.
func plainWord(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// source returns what a state is drawn from. A word gives the same to the same trainee, or
// to the whole class; no word gives another one each time.
func (d *Definition) source(word, trainee string) (*rand.Rand, error) {
	var seed [32]byte
	if word == "" {
		cryptorand.Read(seed[:])
		return rand.New(rand.NewChaCha8(seed)), nil
	}
	salt := "makebreak exercise\x00" + d.Name + "\x00"
	if d.Draw == Each {
		salt += plainWord(trainee)
	}
	key, err := pbkdf2.Key(sha256.New, plainWord(word), []byte(salt), rounds, len(seed))
	if err != nil {
		return nil, err
	}
	copy(seed[:], key)
	return rand.New(rand.NewChaCha8(seed)), nil
}

// draw draws a hidden state.
func (d *Definition) draw(rng *rand.Rand) (Drawn, error) {
	total := 0
	for _, s := range d.States {
		total += s.Weight
	}
	at := rng.IntN(total)
	i := 0
	for ; at >= d.States[i].Weight; i++ {
		at -= d.States[i].Weight
	}
	x := Drawn{Seed: rng.Uint64() >> 1}
	for _, r := range d.States[i].Faults {
		f, err := r.draw(rng)
		if err != nil {
			return Drawn{}, err
		}
		x.Faults = append(x.Faults, f)
	}
	x.Truth = truthOf(x.Faults)
	return x, nil
}

// truthOf is what is right where these faults are planted.
func truthOf(faults []sim.Fault) []Answer {
	if len(faults) == 0 {
		return []Answer{{Cause: Nothing}}
	}
	var all []Answer
	for _, f := range faults {
		all = append(all, Answer{f.Name, f.Place})
	}
	return all
}

// draw draws a fault within its range.
func (r *FaultRange) draw(rng *rand.Rand) (sim.Fault, error) { return r.at(rng.Float64(), rng) }

// at returns the fault at a share of its range. Values are even in their logarithm, as a
// joint of 1 ohm and one of 10 differ as much as those of 10 and 100.
func (r *FaultRange) at(share float64, rng *rand.Rand) (sim.Fault, error) {
	text := r.Cause
	if n := len(r.Choices); n > 0 {
		text += "=" + r.Choices[rng.IntN(n)]
	}
	place := ""
	if n := len(r.Places); n > 0 {
		place = r.Places[rng.IntN(n)]
		text += "@" + place
	}
	f, err := sim.ParseFault(text)
	if err == nil && r.High > 0 {
		f.Value = r.Low * math.Pow(r.High/r.Low, share)
		if f.Value = rounded(f.Value); planted()[r.Cause].Value == sim.WholeNumber {
			f.Value = max(1, math.Round(f.Value))
		}
	}
	return f, err
}

// rounded keeps five digits, so that a value is written and read back as it is.
func rounded(x float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 5, 64), 64)
	if err != nil {
		return x
	}
	return v
}

// planted are the faults that can be planted, by name.
var planted = sync.OnceValue(func() map[string]sim.FaultInfo {
	all := map[string]sim.FaultInfo{}
	for _, f := range sim.Faults() {
		all[f.Name] = f
	}
	return all
})
