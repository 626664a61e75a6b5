package eventlog

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"syscall"
	"time"

	cockroach "github.com/cockroachdb/errors"
	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/vfs"
)

// Errors of a log.
var (
	// ErrDead is returned once this handle can't say any more what is on disk:
	// a write or a sync failed, or the disk did not answer in time. Nothing is
	// retried on it. Closing the program and opening the log again reads what
	// is really there.
	ErrDead = errors.New("the log has stopped")

	// ErrReadOnly is returned by a write to a log that can only be read.
	ErrReadOnly = errors.New("not saved")

	// ErrDamaged is returned when what is on disk is not what was written.
	ErrDamaged = errors.New("damaged on disk")

	// ErrInUse is returned when another process has the folder open.
	ErrInUse = errors.New("in use by another program")

	// ErrNoStore is returned when there is no log in the folder.
	ErrNoStore = errors.New("no log here")

	// ErrNewer is returned when a newer program wrote the store.
	ErrNewer = errors.New("written by a newer version")

	// ErrClosed is returned after Close.
	ErrClosed = errors.New("the log is closed")

	// ErrDiskFull is a reason for ErrReadOnly and ErrDead.
	ErrDiskFull = errors.New("the disk is full")
)

// failure is the state of a handle that went wrong, if it did. It is the
// store's logger too: the store reports what it can't go on after by calling
// Fatalf, from any of its goroutines, and must not get control back.
type failure struct {
	mu     sync.Mutex
	reason error
	dead   chan struct{} // closed once reason is set
	jobs   chan func()   // taken by a goroutine that waits for one
	over   chan struct{} // closed with the log
	died   func()        // told once of the death; may be nil
	warn   func(string)
}

func newFailure(warn func(string)) *failure {
	if warn == nil {
		warn = func(string) {}
	}
	return &failure{dead: make(chan struct{}), jobs: make(chan func()), over: make(chan struct{}), warn: warn}
}

// die marks the handle dead for a reason. The first reason stays.
func (f *failure) die(reason error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.reason != nil {
		return
	}
	f.reason = fmt.Errorf("%w: %w", ErrDead, plain(reason))
	close(f.dead)
	if f.died != nil {
		go f.died() // not here: the caller may hold any lock of the engine's
	}
}

// err is nil while the handle lives.
func (f *failure) err() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.reason
}

// Infof drops the store's chatter.
func (f *failure) Infof(string, ...any) {}

// Errorf passes on what the store complains of and survives.
func (f *failure) Errorf(format string, args ...any) { f.warn(fmt.Sprintf(format, args...)) }

// Fatalf marks the handle dead and never returns. Blocking, rather than ending
// the goroutine, keeps the store's locks as they are: nothing that runs after
// this point could be trusted, and the program is about to be closed.
func (f *failure) Fatalf(format string, args ...any) {
	var reason error = fmt.Errorf(format, args...)
	for _, a := range args {
		if err, ok := a.(error); ok {
			reason = err
		}
	}
	f.die(reason)
	select {}
}

// run calls fn on a goroutine other than the caller's and waits until it
// returns, the handle dies, or the deadline passes, which also is its death: a
// disk that does not answer leaves unknown what it has taken.
func (f *failure) run(deadline time.Duration, what string, fn func() error) error {
	if err := f.err(); err != nil {
		return err
	}
	done := make(chan error, 1)
	job := func() {
		defer func() {
			if p := recover(); p != nil {
				f.die(panicked(p))
			}
		}()
		done <- fn()
	}
	f.start(job)
	timer := time.NewTimer(deadline)
	defer timer.Stop()
	select {
	case err := <-done:
		return err
	case <-f.dead:
	case <-timer.C:
		f.die(fmt.Errorf("%s: no answer from the disk for %v", what, deadline))
	}
	return f.err()
}

// start has a job done by a goroutine that waits for one, or by a new one.
func (f *failure) start(job func()) {
	select {
	case f.jobs <- job:
	default:
		go f.work(job)
	}
}

// work does a job and stays for further ones until the log is closed. A commit
// needs a deep stack; a goroutine of its own for each would grow one anew every
// time, which costs as much as making the action.
func (f *failure) work(job func()) {
	for {
		job()
		select {
		case job = <-f.jobs:
		case <-f.over:
			return
		case <-f.dead:
			return
		}
	}
}

func panicked(p any) error {
	if err, ok := p.(error); ok {
		return err
	}
	return fmt.Errorf("%v", p)
}

// plain puts the reasons an owner can act on into words, keeping the rest.
func plain(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return fmt.Errorf("%w: %w", ErrDiskFull, err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("the disk can only be read: %w", err)
	case errors.Is(err, syscall.EIO):
		return fmt.Errorf("the disk does not work: %w", err)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("no permission to write: %w", err)
	}
	return err
}

// unwritable reports whether an error of opening for writing is one that
// leaves the log readable.
func unwritable(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EROFS) || errors.Is(err, syscall.EIO) || errors.Is(err, fs.ErrPermission)
}

// space guards the disk: writing stops while there is still room to close
// tidily, to export, and for the rest of the machine.
type space struct {
	fs      vfs.FS
	dir     string
	least   uint64
	checked time.Time
	now     func() time.Time
	err     error
}

// spaceEvery is how long a look at the disk counts. Writing 200 MiB in it would
// take a faster disk than laptops have.
const spaceEvery = 100 * time.Millisecond

// check gives an error while less than the least is free.
func (s *space) check() error {
	if s.least == 0 {
		return nil
	}
	now := s.now()
	if !s.checked.IsZero() && now.Sub(s.checked) < spaceEvery && now.After(s.checked) {
		return s.err
	}
	s.checked, s.err = now, nil
	use, err := s.fs.GetDiskUsage(s.dir)
	if err == nil && use.AvailBytes < s.least {
		s.err = fmt.Errorf("%w, because %w: %d MiB are free, and writing stops below %d", ErrReadOnly, ErrDiskFull, use.AvailBytes>>20, s.least>>20)
	}
	return s.err
}

// FillingUp is what is free, in bytes, when a person hears that the disk fills
// up. The engine tells of a tenth, which on a large disk is years of work.
const FillingUp = 10 * DefaultLeastFree

// lowDisk hears from the engine that a disk is at 10, 5, 3, 2 or 1 percent.
func (f *failure) lowDisk(i pebble.LowDiskSpaceInfo) {
	if i.AvailBytes < FillingUp {
		f.warn(fmt.Sprintf("the disk is filling up: %d MiB are free, and writing stops below %d", i.AvailBytes>>20, uint64(DefaultLeastFree)>>20))
	}
}

// retryPause is how long the engine is held before it tries a flush again.
const retryPause = time.Second

// background hears of errors of flushes and compactions. A full disk does not
// lose what is saved, but the handle dies: the next opening reads what is
// there. The engine would try again at once and without end, and burn a core
// until the program is closed, so it is held up here.
func (f *failure) background(err error) {
	if errors.Is(err, pebble.ErrCancelledCompaction) || errors.Is(err, pebble.ErrClosed) {
		return
	}
	f.die(err)
	time.Sleep(retryPause)
}

// corrupt reports whether an error of the engine means damage on disk. The
// engine marks its errors in a way that its own library sees and the standard
// one does not; and a table that is gone is damage too.
func corrupt(err error) bool {
	return err != nil && (cockroach.Is(err, pebble.ErrCorruption) || strings.Contains(err.Error(), "unknown to the objstorage provider"))
}
