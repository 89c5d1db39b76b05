package journal

import (
	"slices"
	"time"
)

// lookMain compares the main file with what is known of it. Between two looks it changes
// where a program brings into it what was written ahead; that is in the index, and the pages
// that it wrote are known.
func (w *watch) lookMain(s, before *looked, restarted bool) error {
	now, err := stampOfFile(w.main)
	if err != nil {
		return err
	}
	if !s.begun {
		s.begun = true
		return w.learn(s, now)
	}
	x, was := &s.index, &before.index
	taken := restarted || x.backfilled != was.backfilled || x.attempted != was.attempted || x.attempted > x.backfilled
	// What was all in the file already is followed by what is not in it yet.
	next := restarted && was.backfilled == len(before.gen.frames) && x.attempted == 0
	if now == s.stamp && !s.owed && (!taken || next) {
		return w.compareSome(s)
	}
	if !taken && now.size != s.stamp.size {
		return w.wrong("", "it has %d bytes in place of %d", now.size, s.stamp.size)
	}
	written := map[uint32][]uint32{}
	for _, f := range s.gen.frames[:min(len(s.gen.frames), max(x.backfilled, x.attempted))] {
		written[f.page] = append(written[f.page], f.sum)
	}
	if restarted { // all of it was brought into the file first
		for _, f := range before.gen.frames {
			written[f.page] = append(written[f.page], f.sum)
		}
	}
	if err := w.long(s, now); err != nil {
		return err
	}
	if taken && (now == s.stamp && !s.owed || now.size > pagesAtOnce && time.Since(s.compared) < comparedShare*s.took) {
		s.owed, s.stamp = now != s.stamp || s.owed, now
		return w.compareWritten(s, written)
	}
	return w.compareAll(s, now, written, taken, restarted)
}

// long reports a main file that lacks pages which nothing that was written ahead has.
func (w *watch) long(s *looked, now stamp) error {
	has := int(now.size / int64(w.pageSize))
	if s.index.pages <= has {
		return nil
	}
	ahead := map[uint32]bool{}
	for _, f := range s.gen.frames {
		ahead[f.page] = true
	}
	for p := has + 1; p <= s.index.pages; p++ {
		if !ahead[uint32(p)] {
			return w.wrong("", "it has %d pages in place of %d", has, s.index.pages)
		}
	}
	return nil
}

// learn takes the main file as it is.
func (w *watch) learn(s *looked, now stamp) error {
	s.stamp, s.sums = now, make([]uint32, now.size/int64(w.pageSize))
	return w.eachPage(s, 0, min(len(s.sums), pagesAtOnce/w.pageSize), func(i int, sum uint32) error {
		s.sums[i] = sum
		return nil
	})
}

// eachPage reads pages of the main file, counted from 0, and hands on their sums.
func (w *watch) eachPage(s *looked, from, to int, each func(i int, sum uint32) error) error {
	for from < to {
		n := min(framesAhead, to-from)
		b := w.buf[:n*w.pageSize]
		read, err := readFull(w.main, b, int64(from)*int64(w.pageSize))
		if err != nil {
			return err
		}
		if read < len(b) {
			return w.wrong("", "it ends with page %d", from+read/w.pageSize)
		}
		for ; len(b) > 0; b = b[w.pageSize:] {
			if err := each(from, sumOf(b[:w.pageSize])); err != nil {
				return err
			}
			from++
		}
	}
	return nil
}

// compareSome compares the next few pages, whose file has not been written by its time
// stamps. Those do not tell what was written within one tick of the system's clock.
func (w *watch) compareSome(s *looked) error {
	if len(s.sums) == 0 {
		return nil
	}
	if s.next >= len(s.sums) {
		s.next = 0
	}
	from, to := s.next, min(s.next+pagesEach, len(s.sums))
	s.next = to
	return w.eachPage(s, from, to, func(i int, sum uint32) error {
		if s.sums[i] != 0 && s.sums[i] != sum {
			return w.wrong("", "page %d is not what was written", i+1)
		}
		s.sums[i] = sum // the same, or not known before
		return nil
	})
}

// explained reports whether a page holds what it held, or what somebody wrote ahead for it.
func explained(known, sum uint32, written []uint32) bool {
	return known == sum || slices.Contains(written, sum)
}

// compareWritten compares the pages that another program may have brought into the file.
func (w *watch) compareWritten(s *looked, written map[uint32][]uint32) error {
	s.sums = resized(s.sums, int(s.stamp.size/int64(w.pageSize)))
	fresh := map[int]uint32{}
	for page, sums := range written {
		i := int(page) - 1
		if i >= len(s.sums) {
			continue
		}
		err := w.eachPage(s, i, i+1, func(_ int, sum uint32) error {
			if s.sums[i] != 0 && !explained(s.sums[i], sum, sums) {
				s.doubtful = true // of other pages it is found later
			}
			fresh[i] = sum
			return nil
		})
		if err != nil {
			return err
		}
	}
	for i, sum := range fresh {
		s.sums[i] = sum
	}
	return nil
}

// resized returns a list of sums as long as given; what is added is not known.
func resized(sums []uint32, n int) []uint32 {
	if n < len(sums) {
		clear(sums[n:])
		return sums[:n]
	}
	return append(sums, make([]uint32, n-len(sums))...)
}

// compareAll compares all pages. What is not explained was overwritten, unless other
// programs may have written what could not be followed.
func (w *watch) compareAll(s *looked, now stamp, written map[uint32][]uint32, taken, restarted bool) error {
	began := time.Now()
	fresh := make([]uint32, now.size/int64(w.pageSize))
	unknown := 0
	err := w.eachPage(s, 0, len(fresh), func(i int, sum uint32) error {
		fresh[i] = sum
		known := uint32(0)
		if i < len(s.sums) {
			known = s.sums[i]
		}
		switch {
		case explained(known, sum, written[uint32(i+1)]):
		case restarted:
			s.doubtful = true
		case known == 0:
			unknown++
		default:
			return w.wrong("", "page %d is not what was written", i+1)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if after, err := stampOfFile(w.main); err != nil || after != now {
		return errLater
	}
	s.doubtful = s.doubtful || unknown > 0 && !taken
	s.sums, s.stamp, s.owed = fresh, now, false
	s.compared, s.took = time.Now(), time.Since(began)
	return nil
}

// checkAhead reads again all that was written ahead, before it is brought into the main file.
// With errLater another program has gone on meanwhile.
func (w *watch) checkAhead() error {
	known := len(w.gen.frames)
	if upTo, err := w.gen.unchanged(w.ahead, 0, known, w.pageSize, w.buf, nil); err != nil || upTo < known {
		return w.unlessWritten(w.wrong("-wal", "page %d of those written ahead is not what was written", upTo+1))
	}
	return nil
}

// unlessWritten returns what was found, or errLater where another program has written since
// the last look: before it writes a page in another one's place, it says so in the index.
func (w *watch) unlessWritten(wrong error) error {
	s := w.looked
	if w.readIndex(&s) != nil || s.index.head != w.looked.index.head {
		return errLater
	}
	return wrong
}

// tookIn looks at the main file after this program has brought into it what was written
// ahead. Where others have written meanwhile, the next look tells.
func (w *watch) tookIn() error {
	s := w.looked
	if w.readIndex(&s) != nil || s.index.head != w.looked.index.head {
		return nil
	}
	// Of a page that was written ahead again beyond that, nothing is brought in.
	last := map[int]uint32{}
	for _, f := range s.gen.frames[:min(len(s.gen.frames), s.index.backfilled)] {
		last[int(f.page)-1] = f.sum
	}
	for _, f := range s.gen.frames[min(len(s.gen.frames), s.index.backfilled):] {
		delete(last, int(f.page)-1)
	}
	now, err := stampOfFile(w.main)
	if err != nil {
		return nil
	}
	s.sums = resized(s.sums, int(now.size/int64(w.pageSize)))
	for i, want := range last {
		if i >= s.index.pages {
			continue // given back
		}
		if i >= len(s.sums) {
			return w.unlessWritten(w.wrong("", "it ends with page %d", len(s.sums)))
		}
		err := w.eachPage(&s, i, i+1, func(_ int, sum uint32) error {
			if sum != want {
				return w.wrong("", "page %d is not what was written", i+1)
			}
			return nil
		})
		if err != nil {
			return w.unlessWritten(err)
		}
		s.sums[i] = want
	}
	s.stamp = now
	w.looked = s
	return nil
}
