package exercise

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"
	"time"

	"makebreak/sequences/journal"
)

// Ticket is by what a browser takes up this exercise again: which one it is, and a proof that only
// who was given it has. Nothing of the proof stands in the log, and the log holds what it is
// made of, so that it is as good after the program has been started anew.
func (s *Session) Ticket() (string, error) {
	proof, err := ticketProof(s.db, s.row)
	return s.row.UUID + "." + proof, err
}

// Tag tells this exercise from others of its log, and proves nothing.
func (s *Session) Tag() string { return s.row.UUID[strings.LastIndex(s.row.UUID, "-")+1:] }

// IsTicket reports whether a text has the form of a ticket.
func IsTicket(text string) bool {
	uuid, proof, _ := strings.Cut(text, ".")
	return len(uuid) == len("00000000-0000-7000-8000-000000000000") && len(proof) == base64.RawURLEncoding.EncodedLen(keyBytes)
}

// Redeem takes up the exercise of a ticket. journal.ErrNoExercise: it is not one of this log.
func Redeem(db *journal.DB, ticket string, now func() time.Time) (*Session, error) {
	uuid, proof, _ := strings.Cut(ticket, ".")
	row, err := db.ExerciseOf(uuid)
	if err != nil {
		return nil, err
	}
	want, err := ticketProof(db, row)
	if err != nil {
		return nil, err
	}
	if !hmac.Equal([]byte(want), []byte(proof)) {
		return nil, journal.ErrNoExercise
	}
	return resumeRow(db, row, now)
}

// ticketProof makes a ticket's proof of the exercise's salt and of the log.
func ticketProof(db *journal.DB, row *journal.Exercise) (string, error) {
	place, err := db.ExercisePlace(row)
	if err != nil {
		return "", err
	}
	key, err := hkdf.Key(sha256.New, []byte("makebreak exercise, taken up by a browser"), row.Salt, place, keyBytes)
	return base64.RawURLEncoding.EncodeToString(key), err
}

// Past are the results of what has been done, the first thing first. Of an answer it has the marks
// without the truth, and of a danger no figure: neither stands in the log.
func (s *Session) Past() (all []*Result) {
	for i, a := range s.deeds.Done {
		x := s.deeds.Steps[i]
		r := &Result{Action: a, Cost: x.Cost, Run: x.Run, Readings: a.Shows}
		for _, code := range x.Dangers {
			r.Dangers = append(r.Dangers, Danger{code, "Something dangerous was done here."})
		}
		if a.Kind == Give {
			r.Marks, _ = marksOf(s.row) // without them it was an answer all the same
		}
		all = append(all, r)
	}
	return all
}
