package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// A watch knows what a log's files hold on the disk, and looks whether they still do. SQLite
// takes a file that it has open for its own: what somebody else writes into it, it neither
// notices nor reports. A look costs some microseconds. It reads the index, what was added to
// the write-ahead file, the time stamps of both files, and a few pages of the main file.
type watch struct {
	path     string
	main     *os.File
	ahead    *os.File
	shared   *sharedIndex
	pageSize int // bytes
	patience time.Duration
	buf      []byte
	looked
}

// looked is what the last look saw.
type looked struct {
	begun   bool // there was one
	gen     generation
	index   walIndex
	stamp   stamp // of the main file
	aheadAt stamp // of the write-ahead file
	// sums are those of the main file's pages, from page 1; 0: not known. They are not all
	// known of a large log that was there before.
	sums []uint32
	next int // the page that is compared next
	// doubtful says that the main file was changed in a way that the looks cannot explain:
	// other programs may have written more than could be followed, and more than that may
	// have happened.
	doubtful bool
	// owed says that all of the main file is to be compared, once there is time.
	owed     bool
	compared time.Time // when that was done last
	took     time.Duration
}

// stamp is by what it shows that a file was written.
type stamp struct {
	size             int64
	modified, status unix.Timespec
}

func stampOfFile(f *os.File) (stamp, error) {
	var s unix.Stat_t
	err := unix.Fstat(int(f.Fd()), &s)
	return stamp{s.Size, s.Mtim, s.Ctim}, err
}

// overwritten says which of the log's files holds what SQLite did not write there.
type overwritten struct{ file, found string }

func (o *overwritten) Error() string { return o.file + ": " + o.found }

const (
	// lookPatience is how long a look waits for what may be another program's writing, in
	// steps of lookPause. On a busy machine that may have to wait in the middle of it.
	lookPatience = time.Second
	lookPause    = 2 * time.Millisecond
	// pagesAtOnce is how much of the main file a first look reads, all of it in most logs.
	pagesAtOnce = 16 << 20
	// pagesEach are how many pages each look compares, so that all are in the end.
	pagesEach = 8
	// comparedShare is how much longer than a comparison of all pages the next one waits,
	// where other programs change the log all the time.
	comparedShare = 20
)

// errLater says that a look cannot be had while another program writes.
var errLater = errors.New("another program is writing")

// newWatch opens the files to look at. They must be open in SQLite already.
func newWatch(path string) (w *watch, err error) {
	w = &watch{path: path}
	if w.main, err = openToLook(path); err == nil {
		if w.ahead, err = openToLook(path + "-wal"); err == nil {
			w.shared, err = openIndex(path + "-shm")
		}
	}
	var size [2]byte
	if err == nil {
		_, err = w.main.ReadAt(size[:], 16) // SQLite's file format, 1.3.2
	}
	if err != nil {
		return nil, errors.Join(err, w.close())
	}
	if w.pageSize = int(binary.BigEndian.Uint16(size[:])); w.pageSize == 1 {
		w.pageSize = 1 << 16
	}
	if w.pageSize < 512 {
		return nil, errors.Join(errUnsound, w.close())
	}
	w.buf = make([]byte, max(framesAhead*(frameHead+w.pageSize), indexBlock))
	return w, nil
}

func openToLook(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0) // a pipe in its place must not be waited for
}

func (w *watch) close() error {
	var errs []error
	for _, f := range []*os.File{w.main, w.ahead} {
		if f != nil {
			errs = append(errs, f.Close())
		}
	}
	if w.shared != nil {
		errs = append(errs, w.shared.release())
	}
	return errors.Join(errs...)
}

// look looks at the files. An error of type overwritten says what is wrong; with errLater
// nothing is known.
func (w *watch) look() error {
	for began, tries := time.Now(), 1; ; tries++ {
		next := w.looked
		err := w.once(&next)
		if err == nil {
			w.looked = next
			return nil
		}
		if tries > 2 && time.Since(began) > w.patience {
			return err
		}
		time.Sleep(lookPause)
	}
}

// once looks once. Another program may write meanwhile, of which nothing is to be seen after
// the look that was not there before.
func (w *watch) once(s *looked) error {
	if err := w.readIndex(s); err != nil {
		return err
	}
	before := w.looked
	restarted := s.begun && s.index.salts != before.index.salts
	err := w.lookAhead(s)
	if err == nil && s.index.frames > 0 {
		err = w.lookIndex(s)
	}
	if err == nil {
		err = w.lookMain(s, &before, restarted)
	}
	now := *s
	if again := w.readIndex(&now); again != nil {
		return again
	}
	if now.index.head != s.index.head {
		return errLater
	}
	return err
}

func (w *watch) wrong(end, format string, args ...any) error {
	return &overwritten{w.path + end, fmt.Sprintf(format, args...)}
}

func (w *watch) readIndex(s *looked) error {
	var b [indexHead]byte
	n, err := readFull(w.shared, b[:], 0)
	if err != nil {
		return err
	}
	if n < len(b) {
		return w.wrong("-shm", "it has %d bytes", n)
	}
	if !s.index.parse(b[:]) {
		return w.wrong("-shm", "its header is not what was written")
	}
	if s.index.frames > 0 && s.index.pageSize != w.pageSize {
		return w.wrong("-shm", "it gives pages of %d bytes in place of %d", s.index.pageSize, w.pageSize)
	}
	return nil
}

// lookAhead reads on in the write-ahead file, or from its start where that was begun anew.
func (w *watch) lookAhead(s *looked) error {
	if s.index.frames == 0 {
		s.gen = generation{}
		return nil
	}
	now, err := stampOfFile(w.ahead)
	if err != nil {
		return err
	}
	if now.size < frameAt(s.index.frames, w.pageSize) {
		return w.wrong("-wal", "it has %d bytes in place of %d", now.size, frameAt(s.index.frames, w.pageSize))
	}
	var head [walHead]byte
	if _, err := w.ahead.ReadAt(head[:], 0); err != nil {
		return err
	}
	known := len(s.gen.frames)
	if head != s.gen.head || known == 0 {
		s.gen = generation{head: head}
		if !s.gen.sound(w.pageSize) {
			return w.wrong("-wal", "its header is not what was written")
		}
		s.gen.sum = addSum(s.gen.order(), [2]uint32{}, head[:24])
	}
	switch {
	case s.gen.salts() != s.index.salts:
		return w.wrong("-wal", "it is another log's, or of another time")
	case s.index.frames < len(s.gen.frames):
		return w.wrong("-shm", "it counts %d pages written ahead in place of %d", s.index.frames, known)
	case s.index.frames == len(s.gen.frames) && now != s.aheadAt:
		// Nothing was stored, and yet it was written.
		if upTo, err := s.gen.unchanged(w.ahead, 0, known, w.pageSize, w.buf, nil); err != nil || upTo < known {
			return errors.Join(w.wrong("-wal", "page %d of those written ahead is not what was written", upTo+1), err)
		}
	}
	sound, err := s.gen.extend(w.ahead, s.index.frames, w.pageSize, w.buf)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errLater
	}
	if err != nil {
		return err
	}
	if !sound || s.gen.sum != s.index.sum {
		return w.wrong("-wal", "page %d of those written ahead is not what was written", len(s.gen.frames)+1)
	}
	s.aheadAt = now
	return nil
}

// lookIndex compares the index with the frames: all of its first block, and of a long index
// the last block and another one in turn.
func (w *watch) lookIndex(s *looked) error {
	last := blockOf(s.index.frames - 1)
	blocks := []int{0, last, s.next % (last + 1)}
	if last == 0 {
		blocks = blocks[:1]
	}
	for _, block := range blocks {
		n, err := readFull(w.shared, w.buf[:indexBlock], int64(block)*indexBlock)
		if err != nil {
			return err
		}
		if n < indexBlock || !findsIn(block, w.buf[:indexBlock], s.gen.frames) {
			return w.wrong("-shm", "it does not lead to the pages that were written ahead")
		}
	}
	return nil
}
