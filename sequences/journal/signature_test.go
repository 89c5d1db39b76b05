package journal

import (
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
	"makebreak/testdata/tool"
)

// workshopKey is a key as a workshop has one. This one is no secret.
func workshopKey() ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
}

// signed is a log with a run that was signed.
func signed(t *testing.T) (*DB, string) {
	t.Helper()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	day := time.Unix(1_800_000_000, 0).UTC()
	run := fill(t, db, 12)
	if err := db.SetField(run.ID(), Field{"job", "1234"}, day, ""); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Sign(t.Context(), run.ID(), workshopKey(), day, "A. Fitter"); !errors.Is(err, ErrGoesOn) {
		t.Errorf("a run that goes on: %v", err)
	}
	if err := run.Finish(RunEnd{Ended: day, Complete: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Sign(t.Context(), run.ID(), workshopKey(), day, "A. Fitter"); err != nil {
		t.Fatal(err)
	}
	return db, run.ID()
}

func verify(t *testing.T, db *DB, id string) []Verified {
	t.Helper()
	rec, err := db.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	all, err := rec.Verify(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// A run stands as it was signed, also in another log and once another signature came.
func TestVerify(t *testing.T) {
	t.Parallel()
	db, id := signed(t)
	stands := func(db *DB, signatures int) {
		t.Helper()
		all := verify(t, db, id)
		if len(all) != signatures {
			t.Fatalf("%d signatures, want %d", len(all), signatures)
		}
		for _, v := range all {
			if !v.Stands() || v.Dropped != 0 || v.By != "A. Fitter" || !v.Key.Equal(workshopKey().Public()) {
				t.Errorf("%+v", v)
			}
		}
	}
	stands(db, 1)
	path := filepath.Join(t.TempDir(), "other.db")
	if _, err := db.CopyRun(id, path); err != nil {
		t.Fatal(err)
	}
	other := openLog(t, path)
	stands(other, 1)
	if _, err := db.Sign(t.Context(), id, workshopKey(), time.Unix(1_900_000_000, 5).UTC(), "A. Fitter"); err != nil {
		t.Fatal(err)
	}
	stands(db, 2)
	if _, err := db.CopyRun(id, path); err != nil {
		t.Fatal(err)
	}
	stands(other, 2)
	if err := other.Check(); err != nil {
		t.Error(err)
	}
}

// Whatever is changed of a run in its log is noticed, and it is said of what part it is. A
// capture that was pruned is no change.
func TestVerify_Changed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ change, part string }{
		{"UPDATE run SET unit = unit || 'x'", runPart},
		{"UPDATE run SET verdict = 3", runPart},
		{"UPDATE run SET program = 'another'", runPart},
		{"UPDATE run SET sequence_source = sequence_source || ' '", sequencePart},
		{"UPDATE run SET rig_source = sequence_source || ' '", rigPart},
		{"UPDATE cycle SET verdict = 1 WHERE n = 3", cyclesPart},
		{"UPDATE cycle SET lost_edges = lost_edges + 1 WHERE n = 12", cyclesPart},
		{"UPDATE measurement SET value = value * (1 + 1e-15) WHERE cycle = 7 AND seq = 0", figuresPart},
		{"UPDATE measurement SET verdict = 1 - verdict % 2 WHERE cycle = 7 AND seq = 0", figuresPart},
		{"UPDATE point SET upper = 99 WHERE id = 0", figuresPart},
		{"UPDATE doubt SET value = 5", figuresPart},
		{"UPDATE symptom SET value = 5 WHERE cycle = 1", symptomsPart},
		{"UPDATE sign SET kind = 'welded'", symptomsPart},
		{"UPDATE field SET value = '1235'", fieldsPart},
		{"INSERT INTO interruption SELECT id, 0, 3, NULL, 5, 'x', '' FROM run", interruptionsPart},
		{"INSERT INTO machine SELECT id, 0, 3, 5, 'board', NULL, 'x' FROM run", machinePart},
		{"INSERT INTO calibration SELECT id, 1, 0, 'OUT1', 'never', 0, '', '', '', '', '', NULL, 1, 0 FROM run", calibrationsPart},
	} {
		db, id := signed(t)
		if err := db.exec(c.change); err != nil {
			t.Fatalf("%s: %v", c.change, err)
		}
		if v := verify(t, db, id)[0]; !v.Genuine || v.Stands() || !slices.Equal(v.Parts, []string{c.part}) {
			t.Errorf("%s: genuine %v, differs in %q", c.change, v.Genuine, v.Parts)
		}
	}
	for _, change := range []string{"UPDATE signature SET done_by = 'B. Fitter'", "UPDATE signature SET at = at + 1",
		"UPDATE signature SET manifest = replace(manifest, '0', '1')", "UPDATE signature SET signature = zeroblob(64)", "UPDATE signature SET key = zeroblob(32)"} {
		db, id := signed(t)
		if err := db.exec(change); err != nil {
			t.Fatal(err)
		}
		if v := verify(t, db, id)[0]; v.Genuine || v.Stands() {
			t.Errorf("%s: it stands", change)
		}
	}
}

func TestVerify_Captures(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	day := time.Unix(1_800_000_000, 0).UTC()
	id := fillRun(t, db, 10, day)
	if _, err := db.Sign(t.Context(), id, workshopKey(), day, ""); err != nil {
		t.Fatal(err)
	}
	if err := db.exec("UPDATE capture SET bytes = zeroblob(7) WHERE id = 4"); err != nil {
		t.Fatal(err)
	}
	if v := verify(t, db, id)[0]; v.Captures != 1 || len(v.Parts) > 0 || v.Stands() {
		t.Errorf("%+v", v.Differences)
	}
	now, then := verify(t, db, id)[0].Manifest, verify(t, db, id)[0].Manifest
	then.Parts = slices.DeleteFunc(slices.Clone(then.Parts), func(p Part) bool { return p.Name == capturePart+"5" })
	if d := then.Against(now); d.Captures != 1 || !d.Any() {
		t.Errorf("a capture was added: %+v", d)
	}
	if _, err := db.DropCaptures(holding(t, db, id)); err != nil {
		t.Fatal(err)
	}
	if v := verify(t, db, id)[0]; v.Captures != 0 || v.Dropped != 10 || !v.Stands() {
		t.Errorf("%+v", v.Differences)
	}
}

// Signatures are those of RFC 8032 over the bytes that are said to be signed: OpenSSL takes
// them.
func TestSign_OpenSSL(t *testing.T) {
	t.Parallel()
	openssl := tool.Find(t, "openssl")
	db, id := signed(t)
	v := verify(t, db, id)[0]
	der, err := x509.MarshalPKIXPublicKey(v.Key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, b := range map[string][]byte{"key": pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}), "text": v.Signed(), "signature": v.Signature.Signature} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(openssl, "pkeyutl", "-verify", "-pubin", "-inkey", "key", "-rawin", "-in", "text", "-sigfile", "signature")
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
}

func TestManifest_Text(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := Manifest{Run: rapid.StringMatching(`[0-9a-f-]{1,36}`).Draw(t, "run")}
		for range rapid.IntRange(0, 5).Draw(t, "parts") {
			var p Part
			p.Name = rapid.StringMatching(`[a-z][a-z 0-9]{0,12}`).Draw(t, "name")
			copy(p.Sum[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "sum"))
			m.Parts = append(m.Parts, p)
		}
		back, err := ParseManifest(m.String())
		if err != nil || back.String() != m.String() {
			t.Fatalf("%q came back as %q, %v", m, back, err)
		}
	})
}

func FuzzParseManifest(f *testing.F) {
	f.Add(Manifest{Run: "0192", Parts: []Part{{Name: runPart}, {Name: "capture 7"}}}.String())
	f.Add(manifestHead + "x\n")
	f.Fuzz(func(t *testing.T, text string) {
		if m, err := ParseManifest(text); err == nil && m.String() != text {
			t.Errorf("%q is taken for %q", text, m)
		}
	})
}
