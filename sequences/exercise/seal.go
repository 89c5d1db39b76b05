package exercise

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"

	"makebreak/rig/problem"
)

// What is hidden is sealed by AES-GCM with a key of its own, which is drawn. That key is
// sealed twice: by the trainer's word, so that the word opens the truth on any machine, and
// by what this program and the log hold, so that a trainee can work without the word. The
// second only hides: whoever takes the program apart opens it.

// ErrWord says that a word does not open what is sealed.
var ErrWord error = problem.New(problem.Usage, "this word does not open the exercise; type the trainer's word that it was begun with")

// errSealed says that what is sealed cannot be opened here.
var errSealed error = problem.New(problem.Storage, "the exercise's sealed state cannot be opened: it was changed, or belongs to another log")

// Sealed is a hidden state as the log keeps it.
type Sealed struct {
	Salt   []byte // 16 bytes, drawn
	State  []byte // sealed by the state's key
	ByWord []byte // the state's key, sealed by the trainer's word; without a word by a drawn one
	Here   []byte // the state's key, sealed by what the program and the log hold
}

// hidden is what is sealed.
type hidden struct {
	Definition string   `json:"definition"` // the file's text
	File       string   `json:"file"`
	Sequence   string   `json:"sequence"` // the text of its sequence
	Seed       uint64   `json:"seed"`
	Faults     []string `json:"faults"` // as sim.ParseFault reads them
	Truth      []Answer `json:"truth"`
}

// What is sealed is filled up to whole blocks. What is drawn takes mostDrawn bytes at most, so
// that the length does not tell what was.
const (
	block     = 1024
	mostDrawn = 2048
)

const keyBytes, saltBytes = 32, 16

// seal seals a state. place tells this exercise in this log from all others.
func seal(h *hidden, word, place string) (*Sealed, error) {
	text, err := json.Marshal(h)
	if err != nil {
		return nil, err
	}
	key := drawn(keyBytes)
	s := &Sealed{Salt: drawn(saltBytes)}
	definition, err := json.Marshal(&hidden{Definition: h.Definition, File: h.File, Sequence: h.Sequence})
	if err != nil {
		return nil, err
	}
	if text, err = padded(text, len(definition)); err != nil {
		return nil, err
	}
	if s.State, err = sealBytes(key, text, place); err != nil {
		return nil, err
	}
	if word == "" {
		word = string(drawn(keyBytes)) // nobody knows it
	}
	byWord, err := wordKey(word, s.Salt)
	if err != nil {
		return nil, err
	}
	here, err := hereKey(s.Salt, place)
	if err != nil {
		return nil, err
	}
	if s.ByWord, err = sealBytes(byWord, key, place); err != nil {
		return nil, err
	}
	s.Here, err = sealBytes(here, key, place)
	return s, err
}

// open opens a state without the word.
func (s *Sealed) open(place string) (*hidden, error) {
	here, err := hereKey(s.Salt, place)
	if err != nil {
		return nil, err
	}
	key, err := openBytes(here, s.Here, place)
	if err != nil {
		return nil, errSealed
	}
	return s.openWith(key, place)
}

// openByWord opens a state with the trainer's word.
func (s *Sealed) openByWord(word, place string) (*hidden, error) {
	byWord, err := wordKey(word, s.Salt)
	if err != nil {
		return nil, err
	}
	key, err := openBytes(byWord, s.ByWord, place)
	if err != nil {
		return nil, ErrWord
	}
	return s.openWith(key, place)
}

func (s *Sealed) openWith(key []byte, place string) (*hidden, error) {
	text, err := openBytes(key, s.State, place)
	if err != nil {
		return nil, errSealed
	}
	if text, err = unpadded(text); err != nil {
		return nil, errSealed
	}
	h := &hidden{}
	if json.Unmarshal(text, h) != nil {
		return nil, errSealed
	}
	return h, nil
}

func wordKey(word string, salt []byte) ([]byte, error) {
	return pbkdf2.Key(sha256.New, plainWord(word), salt, rounds, keyBytes)
}

func hereKey(salt []byte, place string) ([]byte, error) {
	return hkdf.Key(sha256.New, []byte("makebreak exercise, opened by the program itself"), salt, place, keyBytes)
}

// drawn returns random bytes.
func drawn(n int) []byte {
	b := make([]byte, n)
	rand.Read(b) // never fails
	return b
}

// sealBytes seals a text for a place; the nonce comes first.
func sealBytes(key, text []byte, place string) ([]byte, error) {
	aead, err := gcm(key)
	if err != nil {
		return nil, err
	}
	nonce := drawn(aead.NonceSize())
	return aead.Seal(nonce, nonce, text, []byte(place)), nil
}

func openBytes(key, sealed []byte, place string) ([]byte, error) {
	aead, err := gcm(key)
	if err != nil {
		return nil, err
	}
	n := aead.NonceSize()
	if len(sealed) < n {
		return nil, errors.New("too short")
	}
	return aead.Open(nil, sealed[:n], sealed[n:], []byte(place))
}

func gcm(key []byte) (cipher.AEAD, error) {
	c, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCM(c)
}

// padded puts a text's length before it and fills it up to a length that depends on the
// definition alone, which all states of an exercise have in common.
func padded(text []byte, definition int) ([]byte, error) {
	n := (definition + mostDrawn + block - 1) / block * block
	if len(text)+4 > n {
		return nil, errors.New("the state is too long to be sealed")
	}
	b := make([]byte, n)
	binary.BigEndian.PutUint32(b, uint32(len(text)))
	copy(b[4:], text)
	return b, nil
}

func unpadded(b []byte) ([]byte, error) {
	if len(b) < 4 {
		return nil, errors.New("too short")
	}
	n := binary.BigEndian.Uint32(b)
	if uint64(n) > uint64(len(b)-4) {
		return nil, errors.New("too short")
	}
	return b[4 : 4+n], nil
}
