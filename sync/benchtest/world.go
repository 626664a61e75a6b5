package benchtest

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/sync/replicate"

	"github.com/cockroachdb/pebble/v2/vfs"
)

var noEnd = context.Background()

// morning is when the story of a world begins.
var morning = time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)

// unit is what all benches write about.
var unit = events.UnitID{0, 0, 0, 1}

// World is a shop of some laptops with one exchange. What happens in it comes
// from its seed.
type World struct {
	Laptops  []*Laptop
	Exchange *Model

	seed   uint64
	rng    *rand.Rand
	faults faults
	copies []*Model
	trace  interface {
		io.Writer
		Sum64() uint64
	}
	Log func(string) // tells the story; nil for silence
}

// NewWorld makes the shop of a seed, founded, with all its benches admitted at
// the first and an empty exchange.
func NewWorld(seed uint64) (*World, error) {
	w := &World{seed: seed, rng: rand.New(rand.NewPCG(seed, 17)), Exchange: NewModel("A"), trace: fnv.New64a()}
	w.faults = drawFaults(w.rng)
	var random [32]byte
	if _, err := io.ReadFull(seeded(seed, 0), random[:]); err != nil {
		return nil, err
	}
	owner, err := events.OwnerKeyOf(random)
	if err != nil {
		return nil, err
	}
	founding, err := owner.Found("Old Mill Radio", [16]byte{byte(seed), byte(seed >> 8), byte(seed >> 16)})
	if err != nil {
		return nil, err
	}
	facts := []events.Body{founding}
	var ids []events.BenchID
	for i := range 2 + w.rng.IntN(3) {
		l, err := w.newLaptop(founding.Shop(), i+1)
		if err != nil {
			return nil, err
		}
		admitted, err := owner.Admit(founding.Shop(), l.ID, l.Name, uint32(i+1))
		if err != nil {
			return nil, err
		}
		w.Laptops, facts, ids = append(w.Laptops, l), append(facts, admitted), append(ids, l.ID)
	}
	var secret events.ShopKey
	if _, err := io.ReadFull(seeded(seed, 99), secret[:]); err != nil {
		return nil, err
	}
	set, err := owner.SetKey(founding.Shop(), 1, secret, ids...)
	if err != nil {
		return nil, err
	}
	return w, w.begin(append(facts, set))
}

// begin gives every laptop the shop's founding: the first writes it, the others
// have it from joining.
func (w *World) begin(facts []events.Body) error {
	var drafts []events.Draft
	for _, b := range facts {
		drafts = append(drafts, events.Draft{Body: b})
	}
	first := w.Laptops[0]
	if err := first.act(drafts...); err != nil {
		return err
	}
	if err := first.Bench.Grew(first.now()); err != nil {
		return err
	}
	for _, l := range w.Laptops[1:] {
		evs, end, err := replicate.OnLog(first.Log).Run(first.Log.Heads()[0].Feed, 0)
		if err != nil {
			return err
		}
		if err := replicate.OnLog(l.Log).Receive(evs, []events.SignedHead{end}, nil); err != nil {
			return err
		}
		if err := l.Bench.Grew(l.now()); err != nil {
			return err
		}
	}
	return nil
}

func (w *World) newLaptop(shop events.ShopID, n int) (*Laptop, error) {
	l := &Laptop{Name: fmt.Sprintf("bench %d", n), Disk: vfs.NewCrashableMem(), Acked: map[events.Hash]bool{}, shop: shop,
		clock: morning, random: seeded(w.seed, n)}
	var random [32]byte
	if _, err := io.ReadFull(seeded(w.seed, 100+n), random[:]); err != nil {
		return nil, err
	}
	var err error
	if l.Key, err = events.BenchKeyOf(random); err != nil {
		return nil, err
	}
	if l.ID, err = l.Key.Public(); err != nil {
		return nil, err
	}
	return l, l.open()
}

func (w *World) tell(format string, args ...any) {
	line := fmt.Sprintf(format, args...)
	fmt.Fprintln(w.trace, line)
	if w.Log != nil {
		w.Log(line)
	}
}

// Trace is the hash of all that happened: the same for the same seed (P16).
func (w *World) Trace() uint64 { return w.trace.Sum64() }

// Close ends the world.
func (w *World) Close() error {
	var errs []error
	for _, l := range w.Laptops {
		errs = append(errs, l.Log.Close())
	}
	return errors.Join(errs...)
}

// meet lets a laptop begin with the exchange, or begin anew.
func (w *World) meet(l *Laptop) error {
	at, err := l.Bench.Meet(w.Exchange.State(), l.now())
	if err != nil {
		return err
	}
	l.online, l.next = true, at.Message+1
	if !w.Exchange.Holds(at) {
		l.next = 1
	}
	return nil
}

// read lets a laptop deal with the next message, if there is one.
func (w *World) read(l *Laptop) (bool, error) {
	m, ok := w.Exchange.From(l.next)
	if !ok {
		return false, nil
	}
	came, err := l.Bench.Message(m, l.now())
	if err != nil {
		return false, err
	}
	w.tell("%s reads message %d: took %d, had %v, aside %d", l.Name, m.Number, came.Took, came.Had, came.Aside)
	l.next = m.Number + 1
	return true, nil
}

// heads are the furthest heads of all feeds among the logs.
func (w *World) heads() map[events.FeedID]events.Head {
	far := map[events.FeedID]events.Head{}
	for _, l := range w.Laptops {
		for _, h := range l.Log.Heads() {
			if h.Seq > far[h.Feed].Seq {
				far[h.Feed] = h
			}
		}
	}
	return far
}

// Heal ends all faults, lets everybody meet until nothing more happens, and
// checks that nothing is lost anywhere (P4), that all know that (P9), and that
// the exchange alone would fill a new bench (P8).
func (w *World) Heal() error {
	w.faults = faults{}
	want := w.heads()
	for _, l := range w.Laptops {
		if err := w.meet(l); err != nil {
			return err
		}
	}
	for round := 0; ; round++ {
		if round > 400 {
			return fmt.Errorf("they do not come to rest: %s", w.standing())
		}
		moved, err := w.round()
		if err != nil {
			return err
		}
		if !moved {
			break
		}
	}
	return w.check(want)
}

// round lets every laptop read and do all it has.
func (w *World) round() (moved bool, err error) {
	for _, l := range w.Laptops {
		l.pass(3 * time.Second)
		if err := errors.Join(l.Bench.Grew(l.now()), l.Bench.Tick(l.now())); err != nil {
			return false, err
		}
		for {
			did, err := w.read(l)
			if err != nil {
				return false, err
			}
			if !did {
				if !l.Bench.Busy() {
					break
				}
				if err := l.Bench.Do(w.Exchange, l.now); err != nil {
					return false, err
				}
			}
			moved = true
		}
		moved = moved || l.Bench.WakeAt() > 0
	}
	return moved, nil
}

func (w *World) check(want map[events.FeedID]events.Head) error {
	for f, h := range w.heads() { // also what only the exchange had
		if h.Seq < want[f].Seq {
			return fmt.Errorf("feed %s was at %d and is at %d", f.Short(), want[f].Seq, h.Seq)
		}
		want[f] = h
	}
	for _, l := range w.Laptops {
		if err := l.holds(); err != nil {
			return err
		}
		have := map[events.FeedID]events.Head{}
		for _, h := range l.Log.Heads() {
			have[h.Feed] = h
		}
		for f, h := range want {
			if have[f] != h {
				return fmt.Errorf("%s has feed %s to %d, somebody had %d: %s", l.Name, f.Short(), have[f].Seq, h.Seq, w.standing())
			}
		}
		if err := w.knows(l, want); err != nil {
			return err
		}
	}
	return w.refill(want)
}

// knows checks that a laptop which has all says so, and one that has seen a head
// of events which are nowhere any more says that (P9).
func (w *World) knows(l *Laptop, want map[events.FeedID]events.Head) error {
	s := l.Bench.Standing()
	for _, h := range s.Missing {
		if h.Seq <= want[h.Feed].Seq {
			return fmt.Errorf("%s misses feed %s at %d, which it has: %s", l.Name, h.Feed.Short(), h.Seq, w.standing())
		}
	}
	if !s.Level && len(s.Missing) == 0 {
		return fmt.Errorf("%s has all and does not know it: %s", l.Name, w.standing())
	}
	return nil
}

// refill lets a bench that has nothing but its admission read the exchange.
func (w *World) refill(want map[events.FeedID]events.Head) error {
	l := *w.Laptops[len(w.Laptops)-1]
	l.Name, l.Disk, l.Acked = "refilled", vfs.NewCrashableMem(), map[events.Hash]bool{}
	if err := l.open(); err != nil {
		return err
	}
	defer l.Log.Close()
	first := w.Laptops[0]
	for _, h := range first.Log.Heads() { // the roster, as an answer to joining gives it
		evs, end, err := replicate.OnLog(first.Log).Run(h.Feed, 0)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(evs, func(e events.Event) bool { return e.Kind == events.KindShopFounded }) {
			if err := replicate.OnLog(l.Log).Receive(evs, []events.SignedHead{end}, nil); err != nil {
				return err
			}
		}
	}
	if err := errors.Join(l.Bench.Grew(l.now()), w.meet(&l)); err != nil {
		return err
	}
	for {
		if did, err := w.read(&l); err != nil || !did {
			break
		}
	}
	have := map[events.FeedID]events.Head{}
	for _, h := range l.Log.Heads() {
		have[h.Feed] = h
	}
	for f, h := range want {
		if have[f] != h {
			return fmt.Errorf("from the exchange alone feed %s comes to %d of %d", f.Short(), have[f].Seq, h.Seq)
		}
	}
	return nil
}

func (w *World) standing() (s string) {
	for _, l := range w.Laptops {
		st := l.Bench.Standing()
		s += fmt.Sprintf("\n%s: level %v, missing %d, owing %d, stuck %v", l.Name, st.Level, len(st.Missing), len(st.Owing), st.Stuck)
	}
	return s
}
