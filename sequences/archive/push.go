package archive

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"hash/fnv"
	"io"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// Why a run is not taken. The archive keeps what it has.
var (
	ErrOther error = problem.New(problem.Storage, "the archive holds other cycles under this run's identity; keep both logs, and ask which of them the run went on in")
	ErrAhead error = problem.New(problem.Storage, "the archive holds more cycles of it than this log")
)

const (
	// mostCycles are pushed of a run in one transaction: what a cut can cost.
	mostCycles = 10_000
	// mostRuns and mostTogether are how many runs, and cycles of them, are pushed in one
	// transaction.
	mostRuns     = 200
	mostTogether = 5_000
)

// Pusher pushes a log's runs.
type Pusher struct {
	Log     *journal.DB
	Archive *DB
	// Tell is called as the push goes on: done of all are runs and cycles together, and run is
	// the one that is gone on with; nil: nobody is told.
	Tell func(done, all int64, run string)

	done, all int64          // for Tell
	part      int64          // most cycles in one transaction; 0: mostCycles
	verified  map[int64]bool // runs whose last part there was compared, by their numbers there
}

// Pushed says what a push came to. Its names are those of the log.
type Pushed struct {
	New, There, GoesOn, Removed []string // pushed; there already; not ended, and no soak; removed there by its owner
	Refused                     []error  // of runs that were not taken
}

// Push pushes what the log holds and the archive does not. What it has pushed stays where it
// ends with an error, and is not pushed again by the next one.
func (p *Pusher) Push(ctx context.Context) (Pushed, error) {
	var done Pushed
	p.verified = map[int64]bool{}
	if p.part == 0 {
		p.part = mostCycles
	}
	runs, err := p.list(ctx)
	if err != nil {
		return done, err
	}
	there, err := p.Archive.find(ctx, p.Archive.conn, runs)
	if err != nil {
		return done, p.Archive.fail("list the runs", err)
	}
	wanted := p.wanted(runs, there, &done)
	p.done, p.all = 0, work(wanted, there)
	for len(wanted) > 0 {
		group := grouped(wanted, there)
		wanted = wanted[len(group):]
		if err := p.pushAll(ctx, group, &done); err != nil {
			return done, err
		}
	}
	return done, nil
}

// work is how much there is to be pushed: runs and cycles together.
func work(runs []*held, there map[string]*kept) (n int64) {
	for _, r := range runs {
		n += 1 + r.last
		if k := there[r.uuid]; k != nil {
			n -= k.staged
		}
	}
	return n
}

// tell says how far the push is, before it goes on with a run.
func (p *Pusher) tell(run string) {
	if p.Tell != nil {
		p.Tell(p.done, p.all, run)
	}
}

// list are the log's runs, with those marked that a program is at.
func (p *Pusher) list(ctx context.Context) ([]*held, error) {
	s, err := p.Log.Snapshot(ctx)
	if err != nil {
		return nil, err
	}
	runs, err := heldRuns(ctx, s, nil)
	if err = errors.Join(err, s.Close()); err != nil {
		return nil, err
	}
	now, err := p.Log.UnderWay(nil)
	if err != nil {
		return nil, err
	}
	for _, r := range runs {
		r.goesOn = slices.ContainsFunc(now, func(x journal.RunSummary) bool { return x.UUID == r.uuid })
	}
	return runs, nil
}

// wanted are the runs that are to be pushed. Of those that go on these are soaks.
func (p *Pusher) wanted(runs []*held, there map[string]*kept, done *Pushed) (wanted []*held) {
	for _, r := range runs {
		k := there[r.uuid]
		switch {
		case r.fault != nil:
			done.Refused = append(done.Refused, fmt.Errorf("run %s: %w", r.name, r.fault))
		case k != nil && k.removed:
			done.Removed = append(done.Removed, r.name)
		case k.has(r):
			done.There = append(done.There, r.name)
		case r.goesOn && !r.soak:
			done.GoesOn = append(done.GoesOn, r.name)
		default:
			wanted = append(wanted, r)
		}
	}
	return wanted
}

// grouped are the first runs that are pushed in one transaction: one that is long alone.
func grouped(runs []*held, there map[string]*kept) []*held {
	var cycles int64
	for i, r := range runs {
		cycles += r.last
		if k := there[r.uuid]; k != nil {
			cycles -= k.staged
		}
		if i > 0 && (cycles > mostTogether || i == mostRuns) {
			return runs[:i]
		}
	}
	return runs
}

// kept is what the archive has of a run.
type kept struct {
	id      int64
	name    string
	removed bool
	states  [][]byte // of its pushes, as they came
	cycles  int64    // of the last push
	at      time.Time
	// Of the last part; staged is its last cycle.
	first, staged, points, doubts, signs int64
	sum                                  []byte
}

// has reports whether a push had all that the log holds of a run.
func (k *kept) has(r *held) bool {
	return k != nil && slices.ContainsFunc(k.states, func(b []byte) bool { return bytes.Equal(b, r.state) })
}

// querier is a connection or a transaction.
type querier interface {
	Query(ctx context.Context, text string, args ...any) (pgx.Rows, error)
}

// find reads what the archive has of runs, by their UUIDs.
func (db *DB) find(ctx context.Context, q querier, runs []*held) (map[string]*kept, error) {
	uuids := make([]string, len(runs))
	for i, r := range runs {
		uuids[i] = r.uuid
	}
	rows, err := q.Query(ctx, `SELECT r.uuid, r.id, x.run IS NOT NULL, coalesce(a.first, 0), coalesce(a.last, 0), coalesce(a.points, 0), coalesce(a.doubts, 0), coalesce(a.signs, 0), a.sum
		FROM makebreak.run r LEFT JOIN makebreak.removed x ON x.run = r.id
		LEFT JOIN LATERAL (SELECT * FROM makebreak.part a WHERE a.run = r.id ORDER BY a.last DESC LIMIT 1) a ON true
		WHERE r.uuid = ANY($1)`, uuids)
	if err != nil {
		return nil, err
	}
	all, byID, ids := map[string]*kept{}, map[int64]*kept{}, []int64{}
	var uuid string
	var k kept
	_, err = pgx.ForEachRow(rows, []any{&uuid, &k.id, &k.removed, &k.first, &k.staged, &k.points, &k.doubts, &k.signs, &k.sum}, func() error {
		one := k
		one.sum = bytes.Clone(k.sum)
		all[uuid], byID[k.id], ids = &one, &one, append(ids, k.id)
		return nil
	})
	if err != nil {
		return nil, err
	}
	rows, err = q.Query(ctx, "SELECT run, state, cycles, at FROM makebreak.push WHERE run = ANY($1) ORDER BY run, seq", ids)
	if err != nil {
		return nil, err
	}
	var id, cycles int64
	var state []byte
	var at time.Time
	_, err = pgx.ForEachRow(rows, []any{&id, &state, &cycles, &at}, func() error {
		one := byID[id]
		one.states, one.cycles, one.at = append(one.states, bytes.Clone(state)), cycles, at
		return nil
	})
	return all, err
}

// pushAll pushes some runs, in one transaction, or of one run as many as it takes. What cannot
// be taken of a run among several refuses only that one: the others are pushed one by one.
func (p *Pusher) pushAll(ctx context.Context, runs []*held, done *Pushed) error {
	for {
		rest, err := p.pushOnce(ctx, runs, done)
		switch {
		case err == nil && len(rest) > 0:
			runs = rest
			continue
		case err == nil:
			return nil
		case !errors.Is(err, journal.ErrCorrupt) && !errors.Is(err, ErrOther) && !errors.Is(err, ErrAhead):
			return err
		case len(runs) == 1:
			done.Refused = append(done.Refused, fmt.Errorf("run %s: %w", runs[0].name, err))
			return nil
		}
		for _, r := range runs {
			if err := p.pushAll(ctx, []*held{r}, done); err != nil {
				return err
			}
		}
		return nil
	}
}

// pushOnce pushes some runs as far as one transaction goes, and returns those that are not whole
// there by then.
func (p *Pusher) pushOnce(ctx context.Context, runs []*held, done *Pushed) (rest []*held, err error) {
	s, err := p.Log.Snapshot(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	p.tell(runs[0].name)
	rows := make([]int64, len(runs))
	for i, r := range runs {
		rows[i] = r.row
	}
	now, err := heldRuns(ctx, s, rows) // they may have gone on, or gone
	if err != nil || len(now) == 0 {
		return nil, err
	}
	tx, err := p.Archive.conn.Begin(ctx)
	if err != nil {
		return nil, p.Archive.fail("push", err)
	}
	t := &transfer{p: p, ctx: ctx, s: s, tx: tx}
	if err := t.all(now); err != nil {
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		_ = tx.Rollback(end) // the first error says why
		return nil, p.Archive.failPush(err)
	}
	if err := tx.Commit(ctx); err != nil {
		return nil, p.Archive.fail("push", err)
	}
	for _, x := range t.runs {
		p.verified[x.there.id] = true
		p.done += max(0, x.upto-x.first+1)
		if !x.whole {
			rest = append(rest, x.held)
		} else {
			done.New = append(done.New, x.name)
			p.done++
		}
	}
	for _, h := range t.already {
		done.There = append(done.There, h.name)
	}
	return rest, nil
}

// failPush leaves an error of the log or of a run as it is.
func (db *DB) failPush(err error) error {
	if problem.KindOf(err) != problem.Unknown {
		return err
	}
	return db.fail("push", err)
}

// transfer is one transaction of a push.
type transfer struct {
	p       *Pusher
	ctx     context.Context
	s       *journal.Snapshot
	tx      pgx.Tx
	runs    []*pushing
	already []*held // that another program has pushed meanwhile
}

// pushing is a run in a transaction.
type pushing struct {
	*held
	there                 *kept
	push                  int64 // number of this push of it
	first, upto           int64 // cycles that go; upto < first: none
	points, doubts, signs int64 // how many there will be
	whole                 bool
	sum                   hash.Hash
}

func (t *transfer) all(runs []*held) error {
	slices.SortFunc(runs, func(a, b *held) int { return cmp.Compare(keyOf(a.uuid), keyOf(b.uuid)) })
	keys := make([]int64, len(runs))
	for i, r := range runs {
		keys[i] = keyOf(r.uuid)
	}
	// All programs take them in one order, so that none waits for another that waits for it.
	if _, err := t.tx.Exec(t.ctx, "SELECT pg_advisory_xact_lock(k) FROM unnest($1::bigint[]) k", keys); err != nil {
		return err
	}
	there, err := t.p.Archive.find(t.ctx, t.tx, runs)
	if err != nil {
		return err
	}
	slices.SortFunc(runs, func(a, b *held) int { return cmp.Compare(a.row, b.row) })
	for _, r := range runs {
		k := there[r.uuid]
		if k.has(r) || k != nil && k.removed {
			t.already = append(t.already, r)
			continue
		}
		if err := t.begin(r, k); err != nil {
			return err
		}
	}
	if len(t.runs) == 0 {
		return nil
	}
	return t.copyAll()
}

// keyOf is the lock of a run in the archive.
func keyOf(uuid string) int64 {
	h := fnv.New64a()
	_, _ = io.WriteString(h, "makebreak run "+uuid) // never fails
	return int64(h.Sum64())
}

// begin decides what goes of a run, and makes its row where there is none.
func (t *transfer) begin(r *held, k *kept) error {
	if r.fault != nil {
		return r.fault
	}
	x := &pushing{held: r, there: k, sum: sha256.New()}
	if k == nil {
		x.there = &kept{}
		if err := t.addRun(x); err != nil {
			return err
		}
	}
	switch {
	case x.there.staged > r.last:
		return ErrAhead
	case x.there.staged > 0 && !t.p.verified[x.there.id]:
		if err := t.verify(x); err != nil {
			return err
		}
	}
	x.push = int64(len(x.there.states))
	x.first = x.there.staged + 1
	x.upto = min(r.last, x.there.staged+t.p.part)
	x.whole = x.upto == r.last
	err := t.s.Each(t.ctx, func(v []any) error {
		x.points, x.doubts, x.signs = v[0].(int64), v[1].(int64), v[2].(int64)
		return nil
	}, "SELECT coalesce((SELECT max(id)+1 FROM point WHERE run = ?1), 0), coalesce((SELECT max(id)+1 FROM doubts WHERE run = ?1), 0), coalesce((SELECT max(id)+1 FROM sign WHERE run = ?1), 0)", r.row)
	t.runs = append(t.runs, x)
	return err
}

// addRun makes the row of a run.
func (t *transfer) addRun(x *pushing) error {
	var args []any
	err := t.s.Each(t.ctx, func(v []any) error {
		args = append([]any{monthOf(x.started)}, v...)
		return checkTexts(v)
	}, "SELECT "+names(runColumns)+" FROM run WHERE id = ?", x.row)
	if err != nil {
		return err
	}
	return t.tx.QueryRow(t.ctx, "INSERT INTO makebreak.run (month, "+names(runColumns)+") VALUES ("+marks(1+len(runColumns))+") RETURNING id", args...).Scan(&x.there.id)
}

// verify compares the last part that the archive has with the same cycles in the log. A run that
// went on in two logs differs there, whatever it had before.
func (t *transfer) verify(x *pushing) error {
	sum := sha256.New()
	for i := range cycleTables[:3] {
		s := newStream(t.ctx, t.s, &cycleTables[i], []job{{name: x.name, own: t.own(x), args: []any{x.row, x.there.first, x.there.staged}, sum: sum}})
		_, err := io.Copy(io.Discard, s)
		s.close()
		if err != nil {
			return err
		}
	}
	if !bytes.Equal(sum.Sum(nil), x.there.sum) {
		return ErrOther
	}
	return nil
}

func (t *transfer) own(x *pushing) []any { return []any{monthOf(x.started), x.there.id} }

// copyAll copies what goes of all runs, table by table, and what makes it seen last.
func (t *transfer) copyAll() error {
	for i := range cycleTables {
		summed := i < len(cycleTables)-1
		err := t.copy(&cycleTables[i], func(x *pushing) (job, bool) {
			j := job{own: t.own(x), args: []any{x.row, x.first, x.upto}}
			if summed {
				j.sum = x.sum
			}
			return j, x.upto >= x.first
		})
		if err != nil {
			return err
		}
	}
	for i := range wordTables {
		table := &wordTables[i]
		err := t.copy(table, func(x *pushing) (job, bool) {
			from, to := x.there.doubts, x.doubts
			switch table.name {
			case "point":
				from, to = x.there.points, x.points
			case "sign":
				from, to = x.there.signs, x.signs
			}
			return job{own: []any{x.there.id}, args: []any{x.row, from}}, to > from && x.upto >= x.first
		})
		if err != nil {
			return err
		}
	}
	for i := range setTables {
		err := t.copy(&setTables[i], func(x *pushing) (job, bool) {
			return job{own: []any{x.there.id, x.push}, args: []any{x.row}}, x.whole
		})
		if err != nil {
			return err
		}
	}
	return t.note()
}

// copy copies the rows of a table of those runs that have some to copy.
func (t *transfer) copy(table *relation, of func(*pushing) (job, bool)) error {
	var jobs []job
	for _, x := range t.runs {
		if j, some := of(x); some {
			j.name = x.name
			jobs = append(jobs, j)
		}
	}
	if len(jobs) == 0 {
		return nil
	}
	s := newStream(t.ctx, t.s, table, jobs)
	defer s.close()
	if table.packed {
		s.gathered = &stretches{}
	}
	// Rows are looked for first, as most of these tables have none for most runs.
	if err := s.fill(); err != nil {
		return err
	}
	if s.done && len(s.buffer) == len(copyHead)+len(copiesEnd) {
		return nil
	}
	_, err := t.tx.Conn().PgConn().CopyFrom(t.ctx, s, table.intake())
	if s.err != nil && s.err != io.EOF {
		return s.err // the server has it in its own words
	}
	return err
}

// note writes the rows of the parts, and of the pushes of those runs that are whole by now.
func (t *transfer) note() error {
	var b pgx.Batch
	for _, x := range t.runs {
		if x.upto >= x.first {
			b.Queue("INSERT INTO makebreak.part (run, first, last, points, doubts, signs, sum) VALUES ($1, $2, $3, $4, $5, $6, $7)",
				x.there.id, x.first, x.upto, x.points, x.doubts, x.signs, x.sum.Sum(nil))
		}
		if !x.whole {
			continue
		}
		err := t.s.Each(t.ctx, func(v []any) error {
			b.Queue("INSERT INTO makebreak.push (run, seq, state, cycles, "+names(endColumns)+") VALUES ("+marks(4+len(endColumns))+")",
				append([]any{x.there.id, x.push, x.state, x.upto}, v...)...)
			return checkTexts(v)
		}, "SELECT "+names(endColumns)+" FROM run WHERE id = ?", x.row)
		if err != nil {
			return err
		}
	}
	return t.tx.SendBatch(t.ctx, &b).Close()
}
