package benchtest

import (
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"os"
	"time"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// morning is when the story of a world begins.
var morning = time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)

// unit is what all benches write about.
var unit = events.UnitID{0, 0, 0, 1}

// World is a shop of some laptops with some exchanges. What happens in it comes
// from its seed.
type World struct {
	Laptops   []*Laptop
	Exchanges []*Model

	seed    uint64
	rng     *rand.Rand
	faults  faults
	shop    shop
	book    registry
	sticks  [][]byte
	thief   *thief
	folder  string // of the witnesses; empty where there are none
	steps   int
	healing bool  // all is mended and everybody meets
	asks    bool  // benches ask whether an exchange has what they read before they meet it
	broken  error // what was seen to be wrong where nothing can be returned
	empty   int   // benches that were filled from nothing
	trace   interface {
		io.Writer
		Sum64() uint64
	}
	Log func(string) // tells the story; nil for silence
}

// mostLaptops is how many a world comes to have; clones are beside them.
const mostLaptops = 7

// NewWorld makes the shop of a seed, founded, with some benches admitted at the
// first and empty exchanges.
func NewWorld(seed uint64) (*World, error) {
	w := &World{seed: seed, rng: rand.New(rand.NewPCG(seed, 17)), trace: fnv.New64a(), book: newRegistry()}
	w.faults, w.asks = drawFaults(w.rng), w.rng.IntN(2) == 0
	var err error
	if w.faults.memory > 0 {
		if w.folder, err = os.MkdirTemp("", "oldhand-world"); err != nil {
			return nil, err
		}
	}
	if w.shop, err = found(seed); err != nil {
		return nil, err
	}
	for i := range []int{0, 1, 1, 1, 1, 1, 2, 3}[w.rng.IntN(8)] {
		w.Exchanges = append(w.Exchanges, NewModel(string(rune('A'+i))))
	}
	if err := w.begin(1 + w.rng.IntN(4)); err != nil {
		return nil, errors.Join(err, w.Close())
	}
	return w, nil
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
		if l.Log != nil {
			errs = append(errs, l.Log.Close())
		}
	}
	if w.folder != "" {
		errs = append(errs, os.RemoveAll(w.folder))
	}
	return errors.Join(errs...)
}

// write lets a laptop write an action, and registers what was written.
func (w *World) write(l *Laptop, drafts ...events.Draft) error {
	evs, err := l.act(drafts...)
	for _, e := range evs {
		err = errors.Join(err, w.book.write(e, true))
	}
	return err
}

// meet lets a laptop begin with an exchange, or begin anew.
func (w *World) meet(l *Laptop, x *Model) error {
	if err := w.sayAgain(l); err != nil {
		return err
	}
	if err := w.survey(l, x); err != nil {
		return err
	}
	cursor, err := l.Bench.Cursor(x.Epoch)
	if err != nil {
		return err
	}
	state := x.State()
	state.Lost = w.asks && !x.Holds(cursor)
	if w.rng.IntN(2) == 0 {
		state.Last = x.last // as a server counts that does not see its own holes
	}
	at, err := l.Bench.Meet(state, l.now())
	if err != nil {
		return err
	}
	l.at, l.next, l.unclear = x, at.Message+1, map[events.FeedID]bool{}
	switch {
	case x.Holds(at):
	case w.asks:
		return fmt.Errorf("%s is to go on behind message %d of exchange %s, which is not there", l.Name, at.Message, x.Epoch)
	default:
		l.next = 1 // a reader finds out by itself, and begins anew
	}
	return nil
}

// sayAgain lets a laptop write down what an owner said where it has that only in
// what it keeps aside. One that was retired writes nothing.
func (w *World) sayAgain(l *Laptop) error {
	said, err := l.Bench.Inbox.Unsaid()
	if b, _ := l.Bench.Inbox.Roster().Bench(l.ID); err != nil || len(said) == 0 || b.Retired || l.retired {
		return err
	}
	w.tell("%s says %d of the owner's words again", l.Name, len(said))
	return w.decide(l, said...)
}

// survey lets a laptop look which messages an exchange lacks, or not this time.
// When all heals, it does: that is a day later.
func (w *World) survey(l *Laptop, x *Model) error {
	if !w.healing && w.rng.IntN(4) > 0 {
		return nil
	}
	count, sum := x.Lacking()
	w.tell("%s finds that exchange %s lacks %d messages", l.Name, x.Epoch, count)
	return l.Bench.Surveyed(x.Epoch, sum, l.clock)
}

// part cuts a laptop off its exchange.
func (w *World) part(l *Laptop) error {
	if l.at == nil {
		return nil
	}
	l.at = nil
	if err := l.Bench.Hold(false, l.now()); err != nil {
		return err
	}
	return l.Bench.Parted(l.now())
}

// read lets a laptop deal with the next message, if there is one.
func (w *World) read(l *Laptop) (bool, error) {
	m, ok := l.at.From(l.next)
	if !ok {
		l.Bench.Last(l.next - 1) // nothing waits
		return false, nil
	}
	_, more := l.at.From(m.Number + 1)
	if err := l.Bench.Hold(more && w.holds(), l.now()); err != nil {
		return false, err
	}
	came, err := l.Bench.Message(m, l.now())
	if err != nil {
		return false, err
	}
	w.tell("%s reads message %d of %s: took %d, had %v, aside %d", l.Name, m.Number, m.Epoch, came.Took, came.Had, came.Aside)
	if w.Log != nil && came.Words != "" {
		w.Log("    " + came.Words) // hashes in it differ from run to run: keys are wrapped with the system's randomness
	}
	l.next = m.Number + 1
	return true, w.inspect(l)
}

// holds reports whether laptops hold what they take while more lies ready. In some
// worlds they do, by the seed alone, so that nothing else of a world hangs on it.
func (w *World) holds() bool { return w.seed%3 == 0 }

// standing tells how all laptops stand.
func (w *World) standing() (s string) {
	for _, l := range w.Laptops {
		st := l.Bench.Standing()
		s += fmt.Sprintf("\n%s: online %v, retired %v, level %v, missing %s, owing %s, stuck %v, sealed %d",
			l.Name, l.online(), l.retired, st.Level, short(st.Missing), short(st.Owing), st.Stuck, st.Sealed)
	}
	return s
}

func short(heads []events.Head) (s string) {
	for _, h := range heads {
		s += fmt.Sprintf(" %s/%d", h.Feed.Short(), h.Seq)
	}
	return s + " "
}

// faulty is the exchange as a laptop reaches it.
type faulty struct {
	w *World
	l *Laptop
}

func (x faulty) Publish(f events.FeedID, expect uint64, payload []byte) (uint64, replicate.Failure) {
	if x.l.unclear[f] {
		x.w.broken = fmt.Errorf("%s sends on feed %s again without having asked what became of the message before (F16)", x.l.Name, f.Short())
	}
	switch rate := x.w.faults; {
	case x.w.happens(rate.full):
		return 0, replicate.Full
	case x.w.happens(rate.busy):
		return 0, replicate.Busy
	case x.w.happens(rate.unclear):
		stored := x.w.rng.IntN(2) == 0
		if stored {
			x.l.at.Publish(f, expect, payload)
		}
		x.w.tell("%s does not know what became of a message on %s behind %d (stored: %v)", x.l.Name, f.Short(), expect, stored)
		x.l.unclear[f] = true
		return 0, replicate.Unclear
	}
	n, failure := x.l.at.Publish(f, expect, payload)
	x.w.tell("%s publishes on %s behind %d: %d, failure %d", x.l.Name, f.Short(), expect, n, failure)
	return n, failure
}

func (x faulty) Last(f events.FeedID) (replicate.Message, replicate.Failure) {
	if x.w.happens(x.w.faults.unclear) {
		return replicate.Message{}, replicate.Unclear
	}
	delete(x.l.unclear, f)
	return x.l.at.Last(f)
}
