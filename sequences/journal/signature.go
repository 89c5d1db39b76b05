package journal

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"

	"makebreak/rig/problem"
)

// ErrGoesOn says that a run is not over, so that what it holds is not final.
var ErrGoesOn error = problem.New(problem.Usage, "the run has not ended")

// Signature says that somebody with a key stands for what a run held.
type Signature struct {
	At        time.Time
	By        string            // may be empty
	Key       ed25519.PublicKey // of whoever signed
	Manifest  Manifest
	Signature []byte // Ed25519 (RFC 8032) of Signed
}

// signedHead tells a signature of a run from one of anything else by the same key.
const signedHead = "makebreak signature of a run 1\n"

// Signed is what is signed: the manifest, with when and by whom.
func (s *Signature) Signed() []byte {
	return []byte(signedHead + strconv.FormatInt(s.At.UnixNano(), 10) + " " + strconv.Quote(s.By) + "\n" + s.Manifest.String())
}

// Genuine reports whether the signature was made with its key, over its manifest.
func (s *Signature) Genuine() bool {
	return len(s.Key) == ed25519.PublicKeySize && ed25519.Verify(s.Key, s.Signed(), s.Signature)
}

// KeyName names a key by the beginning of its SHA-256, for people to compare.
func KeyName(k ed25519.PublicKey) string {
	sum := sha256.Sum256(k)
	return hex.EncodeToString(sum[:8])
}

// Sign signs what a run that has ended holds now, and keeps the signature with it. Older
// signatures stay.
func (db *DB) Sign(ctx context.Context, id string, key ed25519.PrivateKey, at time.Time, by string) (*Signature, error) {
	rec, err := db.Lock(id) // nobody writes it meanwhile
	if err != nil {
		return nil, err
	}
	doing := "sign run " + rec.ID
	if rec.Ended.IsZero() {
		return nil, db.fail(doing, ErrGoesOn)
	}
	stamp, err := stampOf(at)
	if err == nil && stamp == nil {
		err = misuse("it has no time")
	}
	if err != nil {
		return nil, db.fail(doing, err)
	}
	s := &Signature{At: at, By: by, Key: key.Public().(ed25519.PublicKey)}
	if s.Manifest, err = rec.Manifest(ctx); err != nil {
		return nil, err
	}
	s.Signature = ed25519.Sign(key, s.Signed())
	err = db.transact(func() error {
		return db.exec("INSERT INTO signature SELECT ?1, coalesce(max(seq), -1) + 1, ?2, ?3, ?4, ?5, ?6 FROM signature WHERE run = ?1",
			rec.row, stamp, by, []byte(s.Key), s.Manifest.String(), s.Signature)
	})
	return s, db.fail(doing, err)
}

// Signatures are those of the run, in the order in which they were made.
func (rec *RunRecord) Signatures() ([]Signature, error) {
	rows, err := rec.db.read.Query("SELECT at, done_by, key, manifest, signature FROM signature WHERE run = ? ORDER BY seq", rec.row)
	if err != nil {
		return nil, rec.fail("read the signatures", err)
	}
	defer rows.Close()
	var all []Signature
	for rows.Next() {
		var s Signature
		var at int64
		var key []byte
		var text string
		err := scanRow(rows, "signature", &at, &s.By, &key, &text, &s.Signature)
		if err == nil {
			s.At, s.Key = time.Unix(0, at).UTC(), key
			s.Manifest, err = ParseManifest(text)
		}
		if err != nil {
			return nil, rec.fail("read the signatures", err)
		}
		all = append(all, s)
	}
	return all, rec.fail("read the signatures", rows.Err())
}

// Verified is a signature with what became of the run since.
type Verified struct {
	Signature
	Genuine bool // made with its key
	Differences
}

// Stands reports whether the run is as it was signed.
func (v *Verified) Stands() bool { return v.Genuine && !v.Any() }

// Verify compares the run with each of its signatures.
func (rec *RunRecord) Verify(ctx context.Context) ([]Verified, error) {
	signed, err := rec.Signatures()
	if err != nil || len(signed) == 0 {
		return nil, err
	}
	now, err := rec.Manifest(ctx)
	if err != nil {
		return nil, err
	}
	all := make([]Verified, len(signed))
	for i, s := range signed {
		all[i] = Verified{s, s.Genuine(), s.Manifest.Against(now)}
	}
	return all, nil
}
