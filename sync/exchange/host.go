package exchange

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/gofrs/flock"
	"github.com/nats-io/nats-server/v2/server"
)

// Guest is the key of somebody who holds a join code: it may ask to join and
// nothing else.
type Guest events.BenchID

// HostOptions say where an exchange is and what it may do.
type HostOptions struct {
	Dir    string // the exchange's folder, its own; 0700
	Listen string // address and port, such as "0.0.0.0:0"; empty for this process only

	// OnJoin answers a guest's request with at most MaxJoin bytes; nil lets
	// nobody ask. It is called on one goroutine a shop, and must not take the
	// guest away with SetUsers before it returned: the answer goes to the guest.
	OnJoin func(shop Tag, guest Guest, request []byte) (reply []byte)

	// OnRefused hears of each login over the network with a key that nobody let
	// in, or that is let in no more, soon after; nil drops it. Of very many at
	// once it hears of some. It is called on one goroutine and may call the host,
	// but not close it.
	OnRefused func(login events.BenchID)

	MaxStore  int64  // bytes of all shops together; zero is DefaultMaxStore
	LeastFree uint64 // stop taking more when less is free on the disk, bytes; zero is DefaultLeastFree

	// Warn is told what a person may want to know; nil drops it. It must not
	// call the host, which is at work meanwhile.
	Warn func(text string)

	// FreeSpace says how many bytes are free where dir is; nil asks the disk.
	FreeSpace func(dir string) (uint64, error)
	// LookEvery is the pause between looks at the disk; zero is a second.
	LookEvery time.Duration
}

// Host is an exchange inside this process. Its methods may be called from
// several goroutines.
type Host struct {
	opt  HostOptions
	pin  Pin
	lock *flock.Flock
	base func() *server.Options // the server's settings

	quit, done  chan struct{} // of the goroutine that looks after the disk
	refusedDone chan struct{} // of the goroutine that tells of refused logins
	closing     sync.Once
	closeErr    error

	srv       atomic.Pointer[server.Server] // nil while there is none
	admission admission                     // whom it lets in

	mu    sync.Mutex // held over every change of the server
	shops map[Tag]*hosted
	why   error     // why nothing more is taken, or nil
	retry time.Time // not to be tried again before
}

// OpenHost starts an exchange in a folder, which is made where it is not.
func OpenHost(o HostOptions) (*Host, error) {
	o.setDefaults()
	refused := make(chan events.BenchID, mostRefused)
	h := &Host{opt: o, shops: map[Tag]*hosted{}, admission: admission{refused: refused},
		quit: make(chan struct{}), done: make(chan struct{}), refusedDone: make(chan struct{})}
	if err := h.open(); err != nil {
		if h.lock != nil {
			err = errors.Join(err, h.lock.Close())
		}
		return nil, fmt.Errorf("open the exchange in %s: %w", o.Dir, err)
	}
	go h.lookAfter()
	go h.tellOfRefused(refused)
	return h, nil
}

func (o *HostOptions) setDefaults() {
	if o.MaxStore == 0 {
		o.MaxStore = DefaultMaxStore
	}
	if o.LeastFree == 0 {
		o.LeastFree = DefaultLeastFree
	}
	if o.FreeSpace == nil {
		o.FreeSpace = freeSpace
	}
	if o.LookEvery == 0 {
		o.LookEvery = time.Second
	}
	if o.OnRefused == nil {
		o.OnRefused = func(events.BenchID) {}
	}
	if o.Warn == nil {
		o.Warn = func(string) {}
	}
}

func freeSpace(dir string) (uint64, error) {
	use, err := vfs.Default.GetDiskUsage(dir)
	return use.AvailBytes, err
}

func (h *Host) open() error {
	if err := os.MkdirAll(h.opt.Dir, 0o700); err != nil {
		return err
	}
	if err := os.Chmod(h.opt.Dir, 0o700); err != nil {
		return err
	}
	if err := h.lockFolder(); err != nil {
		return err
	}
	cert, pin, err := certificate(h.opt.Dir)
	if err != nil {
		return err
	}
	h.pin = pin
	if h.base, err = settings(h.opt, cert, pin, &h.admission); err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.why = h.look() // a disk that is full from the start
	return h.start()
}

// lockFolder holds the folder for this process. The server does not: two of
// them on one folder both say that they stored what later is not there.
func (h *Host) lockFolder() error {
	h.lock = flock.New(filepath.Join(h.opt.Dir, "lock"), flock.SetPermissions(0o600))
	held, err := h.lock.TryLock()
	if err != nil {
		return err
	}
	if !held {
		return ErrInUse
	}
	return nil
}

// Pin is what benches must know the exchange by.
func (h *Host) Pin() Pin { return h.pin }

// Addr is where the exchange listens, or nil.
func (h *Host) Addr() net.Addr {
	srv := h.srv.Load()
	if h.opt.Listen == "" || srv == nil {
		return nil
	}
	return srv.Addr()
}

// Full is why the exchange takes nothing more, or nil.
func (h *Host) Full() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.why
}

// Close ends all connections, stops the server and gives the folder free.
func (h *Host) Close() error {
	h.closing.Do(func() {
		close(h.quit)
		<-h.done
		<-h.refusedDone
		h.mu.Lock()
		defer h.mu.Unlock()
		for _, s := range h.shops {
			s.leave()
		}
		h.stop()
		h.closeErr = h.lock.Close()
	})
	return h.closeErr
}

// door lets a key's connections of this process in by a pipe, to whichever
// server is running: after a reopening that is another one. A key that is not
// let in is turned away here: over a pipe that has no room, the server's answer
// and the client's next word would wait for each other.
type door struct {
	h   *Host
	key events.BenchID
}

// InProcessConn is a connection to the server.
func (d door) InProcessConn() (net.Conn, error) {
	srv := d.h.srv.Load()
	if srv == nil {
		return nil, fmt.Errorf("%w: the host is closed or not up", ErrOffline)
	}
	if !d.h.admission.lets(d.key) {
		return nil, ErrNotAdmitted
	}
	return srv.InProcessConn()
}
