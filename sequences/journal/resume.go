package journal

// A resume must leave a run as it was until it has stored a cycle: a disk that is full would
// let it take away how the run had ended, and then store neither a cycle nor an end.

// resumed is what a resume has yet to write.
type resumed struct {
	ended bool           // the run has an end
	gaps  []Interruption // in their order
}

// goOn writes what a resume has yet to write. It runs inside a transaction.
func (r *Run) goOn() error {
	if r.resumed == nil {
		return nil
	}
	for _, gap := range r.resumed.gaps {
		if err := r.addInterruption(gap); err != nil {
			return err
		}
	}
	return r.db.exec("UPDATE run SET ended = NULL, verdict = 0, complete = 0, reason = '' WHERE id = ?", r.row)
}

// Interrupted records that the run did not go on for a time. Before the first cycle after a
// resume it is stored with that.
func (r *Run) Interrupted(i Interruption) error {
	if r.resumed != nil {
		r.resumed.gaps = append(r.resumed.gaps, i)
		return nil
	}
	doing := "record an interruption of run " + r.info.ID
	return r.db.fail(doing, r.db.transact(func() error { return r.addInterruption(i) }))
}
