package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// plan is what a soak is asked for.
type plan struct {
	length time.Duration // of the work, without the beginning and the end
	seed   uint64
	pause  time.Duration // between two deeds of one person, on the average
	calm   time.Duration // between two faults, on the average
	idle   time.Duration // in which nobody does anything, before what is held is compared
	every  time.Duration // between two samples
	top    string        // the folder for all of it
	disk   bool          // one bench has a small disk, if that can be had
	csv    string        // where samples go; empty for nowhere
}

// soak is one run.
type soak struct {
	plan
	self    string // the binary that is the program
	out     io.Writer
	began   time.Time
	benches []*bench // the first hosts
	disk    *smallDisk
	port    string
	ledger  *ledger
	did     *tally
	times   *times
	samples *samples
	all     context.Context // ends with the whole run
	ctx     context.Context // ends with the work

	part sync.Mutex // held by what keeps benches from meeting

	mu     sync.Mutex // over what follows
	faulty []string   // what is wrong
	notes  [][2]string
	held   map[string]rest // at rest, at the beginning
	end    verdict
}

// names of the benches. The last one has the small disk.
var names = []string{"front", "attic", "van"}

func (s *soak) last() *bench { return s.benches[len(s.benches)-1] }

// steady reports whether the half is reached in which processes are left alone.
func (s *soak) steady() bool { return time.Since(s.began) > s.length/2 }

// tell tells what goes on.
func (s *soak) tell(format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	fmt.Fprintf(s.out, "%8s  %s\n", time.Since(s.began).Truncate(time.Second), fmt.Sprintf(format, args...))
}

// mostTold is how many faults of the program are told; after that they are counted.
const mostTold = 40

// wrong notes what the program did wrong.
func (s *soak) wrong(format string, args ...any) {
	words := fmt.Sprintf(format, args...)
	s.mu.Lock()
	s.faulty = append(s.faulty, words)
	n := len(s.faulty)
	s.mu.Unlock()
	if n <= mostTold {
		s.tell("WRONG: %s", words)
	}
}

// died hears that a process ended by itself.
func (s *soak) died(b *bench, how string) {
	if b.grave.Load() {
		s.tell("%s: ended on its full disk: %s", b.name, how)
		return
	}
	s.wrong("bench %s: its process ended by itself: %s; see %s", b.name, how, b.said())
	over := b.disturb()
	go func() {
		defer over()
		b.hit.Lock()
		defer b.hit.Unlock()
		if b.pid() == 0 && s.all.Err() == nil {
			if err := b.start(); err != nil {
				s.wrong("bench %s: %v", b.name, err)
			}
		}
	}()
}

// share lets any bench correct an entry.
func (s *soak) share(tag, entry string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.notes = append(s.notes, [2]string{tag, entry})
	if len(s.notes) > 100 {
		s.notes = s.notes[1:]
	}
}

func (s *soak) shared(r *rand.Rand) (tag, entry string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.notes) == 0 {
		return "", ""
	}
	n := s.notes[r.IntN(len(s.notes))]
	return n[0], n[1]
}

// someTag is the first unit that a bench took in.
func (s *soak) someTag(b *bench) string {
	for i, x := range s.benches {
		if x == b {
			return []string{"10019", "20014", "30015"}[i]
		}
	}
	return ""
}

// meetings notes that the benches can't meet. It ends later: it takes a while until
// they have found each other again.
func (s *soak) meetings() (end func()) {
	var overs []func()
	for _, b := range s.benches {
		overs = append(overs, b.disturb())
	}
	return func() {
		for _, over := range overs {
			over()
		}
	}
}

// disturbedLately reports whether a fault goes on anywhere, or did a minute ago.
func (s *soak) disturbedLately() bool {
	for _, b := range s.benches {
		if b.ill.Load() > 0 || time.Since(time.Unix(0, b.lately.Load())) < time.Minute {
			return true
		}
	}
	return false
}

func (s *soak) hosting() url.Values {
	return url.Values{"listen": {"127.0.0.1:" + s.port}, "unannounced": {"yes"}}
}

// build founds the shop, has the first bench host, and lets the others in.
func (s *soak) build() error {
	for _, name := range names {
		top := filepath.Join(s.top, name)
		dir := filepath.Join(top, "shop")
		if name == names[len(names)-1] && s.plan.disk {
			dir = s.mount(filepath.Join(top, "disk"))
		}
		b, err := newBench(name, top, dir, s.self)
		if err != nil {
			return err
		}
		b.died = s.died
		s.benches = append(s.benches, b)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	_, s.port, _ = net.SplitHostPort(l.Addr().String())
	if err := l.Close(); err != nil {
		return err
	}
	host := s.benches[0]
	if _, err := host.run(s.all, "new", "Quarry Lane Radio", "--bench", host.name); err != nil {
		return err
	}
	if err := host.start(); err != nil {
		return err
	}
	if err := s.press(host, "host", s.hosting()); err != nil {
		return err
	}
	for _, b := range s.benches[1:] {
		if err := s.letIn(host, b); err != nil {
			return err
		}
	}
	for _, b := range s.benches {
		if err := s.first(b); err != nil {
			return err
		}
	}
	return nil
}

// first takes a bench's first unit in, with a photo: from then on it has all that
// carries events and photos.
func (s *soak) first(b *bench) error {
	p := &person{s: s, bench: b, r: rand.New(rand.NewPCG(s.seed, 300))}
	path, remove, err := p.file("first.jpg", p.photo())
	if err != nil {
		return err
	}
	defer remove()
	if _, err := b.run(s.all, "receive", "--maker", "Ostrel", "--model", "R-950", "--serial", "FIRST-"+b.name, "--complaint", "hums"); err != nil {
		return err
	}
	_, err = b.run(s.all, "attach", s.someTag(b), path, "--what", b.name)
	return err
}

// mount gives the last bench a disk of its own, or says why it has none.
func (s *soak) mount(at string) (dir string) {
	d, err := newSmallDisk(at)
	if err != nil {
		s.tell("full disk: left out, because: %v", err)
	}
	s.disk = d
	return filepath.Join(at, "shop")
}

func (s *soak) letIn(host, b *bench) error {
	out, err := host.run(s.all, "invite", "--json")
	var in struct{ Code string }
	if err == nil {
		err = json.Unmarshal(out, &in)
	}
	if err != nil {
		return err
	}
	if _, err := b.run(s.all, "join", in.Code, "--bench", b.name); err != nil {
		return err
	}
	return b.start("--watch")
}

// run is the whole run. It gives an error where it could not be made; what is wrong
// with the program stands in faulty.
func (s *soak) run(ctx context.Context) error {
	s.began = time.Now()
	var stop context.CancelFunc
	s.all, stop = context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	s.ctx = ctx
	defer s.killAll()
	if err := s.build(); err != nil {
		return fmt.Errorf("set the shop up: %w", err)
	}
	if err := s.settleDown(); err != nil {
		return err
	}
	s.held = s.atRest()
	s.tell("at rest: %s; work begins", describe(s.held))
	s.shake(ctx)
	return s.finish()
}

// shake has people work and faults happen for as long as was asked for, or until it is
// broken off.
func (s *soak) shake(ctx context.Context) {
	s.began = time.Now()
	var end context.CancelFunc
	s.ctx, end = context.WithTimeout(ctx, s.length)
	defer end()
	var busy sync.WaitGroup
	for i, b := range s.benches {
		for j, deeds := range [][]deed{byPage, byCommand} {
			p := &person{s: s, bench: b, r: rand.New(rand.NewPCG(s.seed, uint64(10*i+j))), hand: fmt.Sprintf("%s%d", b.name, j)}
			busy.Go(func() { p.work(s.ctx, deeds) })
		}
		busy.Go(func() { s.listen(b) })
	}
	for i := range 2 {
		f := &faults{s: s, r: rand.New(rand.NewPCG(s.seed, uint64(100+i))), ctx: s.ctx}
		busy.Go(f.make)
	}
	busy.Go(s.keepBackups)
	busy.Go(func() { s.sampling(s.ctx) })
	busy.Wait()
}

// listen is an open page that waits for news, and comes again when it was cut off.
func (s *soak) listen(b *bench) {
	for s.ctx.Err() == nil {
		ctx, stop := context.WithTimeout(s.ctx, 20*time.Second)
		_, _ = b.get(ctx, "/live") // it ends when we do
		stop()
		pause(s.ctx, time.Second)
	}
}

// keepBackups writes backups and tries them out, now and then.
func (s *soak) keepBackups() {
	r := rand.New(rand.NewPCG(s.seed, 200))
	for n := 0; ; n++ {
		pause(s.ctx, s.length/8)
		if s.ctx.Err() != nil {
			return
		}
		b := s.benches[r.IntN(len(s.benches))]
		path := filepath.Join(s.top, fmt.Sprintf("backup-%d", n))
		before := b.mood()
		_, err := b.run(s.all, "backup", "write", path)
		if err == nil {
			_, err = b.run(s.all, "backup", "check", path)
		}
		if err != nil && !b.excused(before) {
			s.wrong("bench %s: %v", b.name, err)
		}
		if err == nil {
			s.did.done("backup")
		}
		_ = os.Remove(path) // it may not have come to be
	}
}

// killAll leaves no process behind.
func (s *soak) killAll() {
	for _, b := range s.benches {
		if b.pid() != 0 {
			_, _ = b.end(os.Kill)
		}
	}
}

// unmount takes the small disk away, and keeps what is on it where something is wrong.
func (s *soak) unmount() error {
	if s.disk == nil {
		return nil
	}
	var err error
	if len(s.faulty) > 0 {
		err = os.CopyFS(filepath.Join(s.last().top, "kept"), os.DirFS(s.last().dir))
	}
	return errors.Join(err, s.disk.drop())
}

var errWrong = errors.New("the program did something wrong")
