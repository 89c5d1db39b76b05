package archive

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"makebreak/sequences/journal"
)

const (
	// seenFor is how long what was fetched is taken for what the archive holds.
	seenFor = 2 * time.Second
	// askFor is how long a server may take to say whether something has changed.
	askFor = 20 * time.Second
	// listShare keeps fetching the list from taking more than one part in so many of the time,
	// while rigs push all the time.
	listShare = 10
	// mostKept is how many records are kept for whoever asks again.
	mostKept = 4
)

// Served is an archive that is read for as long as a server runs. The connection may be lost, and
// is made again when somebody asks. It is safe for concurrent use.
type Served struct {
	connection, place string

	turn    chan struct{} // who uses what follows has put something in
	db      *DB           // nil: there is no connection
	list    *copied       // what tells of all runs; nil: it was not fetched
	records []*copied     // the one that was used last is last

	mu sync.Mutex // guards the readers of what was fetched
}

// copied is what was fetched.
type copied struct {
	log     *journal.DB
	wanted  Wanted
	mark    string    // differs when the archive holds something else
	seen    time.Time // it was so
	took    time.Duration
	readers int
	over    bool // nobody else will read it
}

// Serve opens an archive as OpenRead does.
func Serve(ctx context.Context, connection string) (*Served, error) {
	db, err := OpenRead(ctx, connection)
	if err != nil {
		return nil, err
	}
	return &Served{connection: connection, place: db.Place(), db: db, turn: make(chan struct{}, 1)}, nil
}

// Place names the archive as DB.Place does.
func (s *Served) Place() string { return s.place }

// All lets a function read a log with all runs, which has no figures: it is for whoever searches.
func (s *Served) All(ctx context.Context, f func(*journal.DB) error) error {
	return s.read(ctx, Wanted{Brief: true}, f)
}

// Run lets a function read a log with a run that is named as in the log of all runs, and what it
// is compared with. It gets the name that the run has there.
func (s *Served) Run(ctx context.Context, name string, f func(log *journal.DB, name string) error) error {
	var uuid string
	err := s.All(ctx, func(log *journal.DB) error {
		rec, err := log.Find(name)
		if err == nil {
			uuid = rec.UUID
		}
		return err
	})
	if err != nil {
		return err
	}
	return s.read(ctx, Wanted{Names: []string{uuid}}, func(log *journal.DB) error { return f(log, uuid) })
}

// Unit lets a function read a log with the runs of a unit.
func (s *Served) Unit(ctx context.Context, unit string, f func(*journal.DB) error) error {
	return s.read(ctx, Wanted{Unit: unit}, f)
}

// Close ends the connection and removes what was fetched. Nobody may read any more.
func (s *Served) Close() error {
	s.turn <- struct{}{}
	var errs []error
	for _, c := range append(s.records, s.list) {
		if c != nil {
			errs = append(errs, s.drop(c))
		}
	}
	if s.db != nil {
		errs = append(errs, s.db.Close())
	}
	return errors.Join(errs...)
}

func (s *Served) read(ctx context.Context, w Wanted, f func(*journal.DB) error) error {
	c, err := s.get(ctx, w)
	if err != nil {
		return err
	}
	defer s.left(c)
	return f(c.log)
}

// get returns what is wanted, fetched where that has changed, with one reader more.
func (s *Served) get(ctx context.Context, w Wanted) (c *copied, err error) {
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	there := s.kept(w)
	if there == nil || time.Since(there.seen) >= seenFor {
		err := s.connected(ctx, func(db *DB) error {
			var err error
			c, err = s.renewed(ctx, db, w, there)
			return err
		})
		if err != nil {
			return nil, err
		}
		s.keep(c, there)
		there = c
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	there.readers++
	return there, nil
}

// kept is what is wanted as it was fetched last; nil: it was not.
func (s *Served) kept(w Wanted) *copied {
	if w.Brief {
		return s.list
	}
	for _, c := range s.records {
		if c.wanted.Unit == w.Unit && slices.Equal(c.wanted.Names, w.Names) {
			return c
		}
	}
	return nil
}

// keep keeps what was fetched in place of what there was, as the one used last.
func (s *Served) keep(c, before *copied) {
	if before != nil && before != c {
		_ = s.drop(before) // it was only read
	}
	if c.wanted.Brief {
		s.list = c
		return
	}
	s.records = append(slices.DeleteFunc(s.records, func(x *copied) bool { return x == before }), c)
	if len(s.records) > mostKept {
		_ = s.drop(s.records[0])
		s.records = s.records[1:]
	}
}

// drop closes what was fetched once its last reader has left.
func (s *Served) drop(c *copied) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c.over = true; c.readers > 0 {
		return nil
	}
	return c.log.Close()
}

// left is called by a reader.
func (s *Served) left(c *copied) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c.readers--; c.over && c.readers == 0 {
		_ = c.log.Close() // it was only read
	}
}

// connected calls f with a connection, once more with a new one where it was lost meanwhile.
func (s *Served) connected(ctx context.Context, f func(*DB) error) error {
	for fresh := false; ; {
		if s.db == nil {
			db, err := OpenRead(ctx, s.connection)
			if err != nil {
				return err
			}
			s.db, fresh = db, true
		}
		err := f(s.db)
		if err == nil || !s.db.conn.IsClosed() {
			return err
		}
		_ = s.db.Close()
		if s.db = nil; fresh || ctx.Err() != nil {
			return err
		}
	}
}

// renewed returns what there is, where that is still what the archive holds, else fetches it.
func (s *Served) renewed(ctx context.Context, db *DB, w Wanted, there *copied) (*copied, error) {
	begun := time.Now()
	ask, cancel := context.WithTimeout(ctx, askFor)
	defer cancel()
	mark, err := db.mark(ask, &w)
	if err != nil {
		return nil, err
	}
	if there != nil && (there.mark == mark || w.Brief && begun.Sub(there.seen) < listShare*there.took) {
		if there.mark == mark {
			there.seen = begun
		}
		return there, nil
	}
	log, err := db.Fetch(ctx, w)
	if err != nil {
		return nil, err
	}
	return &copied{log: log, wanted: w, mark: mark, seen: time.Now(), took: time.Since(begun)}, nil
}

// mark differs from another where what is wanted has changed: rows are only added.
func (db *DB) mark(ctx context.Context, w *Wanted) (mark string, err error) {
	if w.list() {
		var pushes, removed int64
		err := db.conn.QueryRow(ctx, "SELECT (SELECT count(*) FROM makebreak.push), (SELECT count(*) FROM makebreak.removed)").Scan(&pushes, &removed)
		return fmt.Sprint(pushes, " ", removed), db.fail("look what is new", err)
	}
	g := &fetching{db: db, ctx: ctx, tx: db.conn}
	if err := g.choose(w); err != nil {
		return "", db.fail("look what is new", err)
	}
	slices.Sort(g.ids)
	var pushes int64
	err = db.conn.QueryRow(ctx, "SELECT count(*) FROM makebreak.push WHERE run = ANY($1)", g.ids).Scan(&pushes)
	return fmt.Sprint(g.ids, pushes), db.fail("look what is new", err)
}
