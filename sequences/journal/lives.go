package journal

import (
	"database/sql"
	"fmt"

	"makebreak/analyze"
)

// BoardLife is how far a board came in a soak.
type BoardLife struct {
	Run, Unit string
	Cycles    int  // complete ones, up to the first that failed
	Failed    bool // that one is among them
}

// LivesOfKind returns this soak's life and then, of each other unit that was soaked by the
// same sequence as it stands, its longest soak; runs are of one kind as references are. It
// looks at so many soaks at most, the newest. Runs that are not whole in the log, of no named
// unit or without a judged cycle are passed over; nil: this one is such a run.
func (rec *RunRecord) LivesOfKind(most int) ([]BoardLife, error) {
	lives, err := rec.livesOfKind(most)
	return lives, rec.fail("find other boards' soaks", err)
}

func (rec *RunRecord) livesOfKind(most int) ([]BoardLife, error) {
	if rec.Soak == nil || rec.Unit == "" || rec.State.Partial() {
		return nil, nil
	}
	own, judged, err := rec.db.lifeOf(rec.row)
	if err != nil || !judged {
		return nil, err
	}
	own.Run, own.Unit = rec.ID, rec.Unit
	others, err := rec.soaksOfKind(most)
	if err != nil {
		return nil, err
	}
	longest := map[string]int{} // places among the lives
	lives := []BoardLife{own}
	for _, o := range others {
		l, judged, err := rec.db.lifeOf(o.row)
		if err != nil {
			return nil, err
		}
		if !judged {
			continue
		}
		l.Run, l.Unit = o.Run, o.Unit
		if at, ok := longest[l.Unit]; !ok {
			longest[l.Unit] = len(lives)
			lives = append(lives, l)
		} else if l.Cycles > lives[at].Cycles {
			lives[at] = l
		}
	}
	return lives, nil
}

// soaksOfKind are the newest soaks of other units, by their rows and names.
func (rec *RunRecord) soaksOfKind(most int) (out []RunSummary, err error) {
	rows, err := rec.db.read.Query("SELECT b.id, b.series || '.' || b.count, b.unit FROM run a, run b WHERE a.id = ? AND "+fmt.Sprintf(sameKind, "main")+
		" AND a.sequence_source = b.sequence_source AND b.unit NOT IN ('', a.unit) AND b.state = 0 AND b.id IN (SELECT run FROM soak) ORDER BY b.id DESC LIMIT ?", rec.row, most)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var s RunSummary
		if err := scanRow(rows, "run", &s.row, &s.Run, &s.Unit); err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// life is what lifeOf says of a run.
type life struct {
	BoardLife
	judged bool
}

// lifeOf counts a run's complete cycles up to the first that failed, and says whether any
// was judged.
func (db *DB) lifeOf(row int64) (l BoardLife, judged bool, err error) {
	if known, there := db.lives[row]; there {
		return known.BoardLife, known.judged, nil
	}
	failed, err := gravityOf(analyze.Fail)
	if err != nil {
		return l, false, err
	}
	var first sql.NullInt64
	err = db.row("SELECT count(*), min(CASE WHEN verdict = ? THEN n END), coalesce(max(verdict), 0) > 0 FROM cycle WHERE run = ? AND complete", failed, row).
		scan("cycle", &l.Cycles, &first, &judged)
	if err != nil || !first.Valid {
		return l, judged, err
	}
	l.Failed = true
	err = db.row("SELECT count(*) FROM cycle WHERE run = ? AND complete AND n <= ?", row, first.Int64).scan("cycle", &l.Cycles)
	return l, judged, err
}
