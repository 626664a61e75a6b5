package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events/eventlog"
)

// Options say what is served.
type Options struct {
	Dir string
	App app.Options

	// Opened is called once, as soon as the folder is open: at the start, or when
	// a shop was founded or joined on the page.
	Opened func(*app.Shop) error

	Hosts []string // further names that the page answers to, with their ports

	Wishes app.Wishes // what the start says of hosting and watching
	Lan    string     // "on", "off" or an address to be shown to other devices at; empty for what was kept

	Log *slog.Logger // nil to log nothing
}

// Server serves one data folder as pages.
type Server struct {
	opt     Options
	look    *look
	doors   *doors
	said    *said
	done    *doneOnce
	drawn   drawnOnce
	books   *books
	handler http.Handler
	listens []net.Listener
	run     string          // of this process, for ids that mean something only in it
	hosts   map[string]bool // set before the first request

	dead chan error // holds one; ends Run

	checking errand[app.Checkup] // of everything
	copying  errand[copied]

	mu   sync.Mutex // over shop
	shop *app.Shop  // nil while there is none in the folder

	// While there is a shop, and set with it; nil before.
	duties  *app.Duties
	scrubs  *app.Scrubs
	lan     *landoor
	codes   *codes
	brought *brought
	naming  sync.WaitGroup // opens customers' names, so that the first lookup need not
}

// New makes a server; Listen and Begin come next, then Run.
func New(o Options) (*Server, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	look, err := newLook()
	if err != nil {
		return nil, err
	}
	s := &Server{opt: o, look: look, doors: newDoors(o.now), said: &said{}, done: newDoneOnce(), books: &books{}, hosts: map[string]bool{},
		run: rand.Text()[:8], dead: make(chan error, 1)}
	for _, h := range o.Hosts {
		s.hosts[h] = true
	}
	s.handler = s.guarded(s.routes())
	return s, nil
}

// Begin opens the folder, if there is a shop in it. Without one the pages say
// how to begin.
func (s *Server) Begin() error {
	_, err := s.open()
	if errors.As(err, new(*app.NoShop)) {
		return nil
	}
	return err
}

func (o Options) now() time.Time {
	if o.App.Now != nil {
		return o.App.Now()
	}
	return time.Now()
}

// open gives the shop, and opens its folder where that was not done yet: it may
// have been founded by a command a moment ago.
func (s *Server) open() (*app.Shop, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.shop != nil {
		return s.shop, nil
	}
	if !app.HasFolder(s.opt.Dir) {
		return nil, &app.NoShop{Dir: s.opt.Dir}
	}
	shop, err := app.Open(s.opt.Dir, s.opt.App)
	if err != nil {
		return nil, err
	}
	return shop, s.adopt(shop)
}

// adopt serves a shop that is open. The lock is held.
func (s *Server) adopt(shop *app.Shop) error {
	if err := shop.SweepReadings(); err != nil {
		s.opt.Log.Warn("what an earlier reading left could not be taken away", "why", err.Error())
	}
	if err := s.beginBeside(shop); err != nil {
		return errors.Join(err, shop.Close())
	}
	if s.opt.Opened != nil {
		if err := s.opt.Opened(shop); err != nil {
			return errors.Join(err, s.endBeside(), shop.Close())
		}
	}
	s.shop = shop
	if err := shop.Tidy(); err != nil { // nothing hangs on it
		s.opt.Log.Warn("old forms not thrown away", "why", err.Error())
	}
	return nil
}

// Listen takes the address, and the same port of the other loopback address
// where there is one.
func (s *Server) Listen(addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return &app.Wrong{What: "--addr " + addr, Why: "want an address and a port, such as 127.0.0.1:4750"}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return &app.Wrong{What: "--addr " + addr, Why: "the page is for this machine only: want 127.0.0.1, [::1] or localhost"}
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return fmt.Errorf("serve the page at %s: %w", addr, err)
	}
	s.listens = append(s.listens, l)
	port := strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
	for _, other := range []string{"127.0.0.1", "::1"} {
		if l, err := net.Listen("tcp", net.JoinHostPort(other, port)); err == nil {
			s.listens = append(s.listens, l)
		}
	}
	for _, name := range []string{"127.0.0.1", "::1", "localhost"} {
		s.hosts[net.JoinHostPort(name, port)] = true
	}
	return nil
}

// Address is where the page is, without anything secret.
func (s *Server) Address() string { return "http://" + s.listens[0].Addr().String() + "/" }

// Start is an address that lets one browser in, once, within an hour.
func (s *Server) Start() string { return s.Address() + "start?token=" + s.doors.token() }

// Handler serves requests; it guards them as it does behind Listen.
func (s *Server) Handler() http.Handler { return s.handler }

// Check ends the serving where the log has stopped: nothing is retried on it, and
// only opening it anew, in a process that begins, finds what is really on the
// disk. It is called after whatever may have written.
func (s *Server) Check() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.shop != nil && errors.Is(s.shop.Log.Err(), eventlog.ErrDead) {
		s.end(fmt.Errorf("the page has to be started again: %w", s.shop.Log.Err()))
	}
}

// end ends Run with an error.
func (s *Server) end(err error) {
	select {
	case s.dead <- err:
	default: // it is ending
	}
}

// endWithin is how long requests may take that are on their way at the end.
const endWithin = 5 * time.Second

// Run serves until the context ends.
func (s *Server) Run(ctx context.Context) error {
	h := &http.Server{Handler: s.handler, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		BaseContext: func(net.Listener) context.Context { return ctx }, // ends the live streams too
		ErrorLog:    slog.NewLogLogger(s.opt.Log.Handler(), slog.LevelDebug)}
	ended := make(chan error, len(s.listens))
	for _, l := range s.listens {
		go func() { ended <- h.Serve(l) }()
	}
	s.opt.Log.Info("serving", "at", s.Address())
	var err error
	select {
	case <-ctx.Done():
	case err = <-ended:
	case err = <-s.dead:
	}
	last, stop := context.WithTimeout(context.WithoutCancel(ctx), endWithin)
	defer stop()
	if down := h.Shutdown(last); down != nil {
		_ = h.Close() // who still waits is cut off
	}
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// Close closes the folder and what was taken.
func (s *Server) Close() error {
	for _, l := range s.listens {
		_ = l.Close() // it is closed already after Run
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.shop == nil {
		return nil
	}
	err := errors.Join(s.endBeside(), s.shop.Close())
	s.shop = nil
	return err
}

// take serves a shop that was made on the page.
func (s *Server) take(shop *app.Shop) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.adopt(shop)
}
