package app

import (
	"context"
	"crypto/rand"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"
	"oldhand/sync/roster/invite"
	"oldhand/sync/segment"
)

// Met says what a meeting came to.
type Met struct {
	With      string   `json:"with"` // an address, or a file
	Took      int      `json:"events_taken"`
	Gave      int      `json:"events_given"`
	Aside     int      `json:"pieces_kept_aside"` // runs of events that were not taken
	Names     int      `json:"names_taken"`       // keys of customers' names
	NamesGave int      `json:"names_given"`
	AllHere   bool     `json:"all_here"`           // nothing is known of that is not here
	AllThere  bool     `json:"all_there"`          // nothing is here that is not there
	WaitsFor  []string `json:"waits_for"`          // in words, what is known of and not here
	NotHeeded []string `json:"not_heeded"`         // why what was kept aside was
	Attached  *Brought `json:"attached,omitempty"` // photos and recordings; null where no entry names any

	left   bool        // before it was through
	errand meet.Errand // for photos and recordings, which come after it
}

// moved reports whether anything was taken, given or kept aside.
func (m Met) moved() bool { return m.Took+m.Gave+m.Aside+m.Names+m.NamesGave > 0 }

func (s *Shop) tag() exchange.Tag { return exchange.Tag(segment.TagOf(s.Log.Shop())) }

// replica is this folder's side of meeting others.
func (s *Shop) replica() (*replicate.Bench, error) {
	if err := s.Log.Err(); err != nil {
		return nil, err
	}
	told, err := s.answer()
	if err != nil {
		return nil, err
	}
	return replicate.NewBench(replicate.OnLog(s.Log), s.Log.Shop(), s.key, rand.Reader, told.Bodies()...)
}

// answer is what this bench was told when it joined; nothing where it founded
// the shop.
func (s *Shop) answer() (a invite.Answer, err error) {
	b, err := os.ReadFile(filepath.Join(s.Dir, answerFile))
	if errors.Is(err, fs.ErrNotExist) {
		return a, nil
	}
	if err != nil {
		return a, err
	}
	return invite.DecodeAnswer(b)
}

// Roster is who belongs to the shop, by what is in the log.
func (s *Shop) Roster() (r roster.Roster, err error) {
	err = s.view(func(v *eventlog.View) error {
		facts, err := v.AllEvents([16]byte{})
		r = roster.Fold(s.Log.Shop(), facts)
		return err
	})
	return r, err
}

// ErrNoShopKey is returned when this bench can't seal anything for the others.
var ErrNoShopKey = errors.New("this bench has no key of the shop to seal with; the owner's bench gives it one: run there: oldhand host")

// ensureKey sets the shop's first key where the owner's key is in this folder
// and none is set, and gives the present one to benches that lack it.
func (s *Shop) ensureKey() error {
	r, err := s.Roster()
	if err != nil {
		return err
	}
	owner, err := s.ownerKey()
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	ring, _ := r.Keys(owner) // what does not open is made anew below
	if _, ok := ring.Sealing(); ok {
		return s.shareKey(r, owner, ring)
	}
	return s.newKey(owner)
}

// shareKey gives the shop's keys to benches that can't open the last one.
func (s *Shop) shareKey(r roster.Roster, owner events.BenchKey, ring roster.Ring) error {
	var lack []events.BenchID
	for _, c := range r.Conflicts() {
		if c.Matter == roster.KeyMissing {
			lack = append(lack, c.Benches...)
		}
	}
	if len(lack) == 0 {
		return nil
	}
	sets, err := r.Share(owner, ring, lack...)
	if err != nil {
		return err
	}
	var bodies []events.Body
	for _, set := range sets {
		bodies = append(bodies, set)
	}
	return s.state(bodies...)
}

// state writes statements of the owner.
func (s *Shop) state(bodies ...events.Body) error {
	return s.act(func(tx *eventlog.Tx) error {
		for _, b := range bodies {
			if _, err := tx.Add(events.Draft{At: s.when(Who{}), Body: b}); err != nil {
				return err
			}
		}
		return nil
	})
}

// sayAgain writes down what an owner said where that is here only in what is kept
// aside, so that it goes to the others too.
func (s *Shop) sayAgain(b *replicate.Bench) error {
	said, err := b.Inbox.Unsaid()
	if err != nil || len(said) == 0 {
		return err
	}
	if err := s.state(said...); errors.Is(err, eventlog.ErrReadOnly) {
		return nil // a bench that was retired says nothing more
	} else if err != nil {
		return err
	}
	return b.Grew(0)
}

func (s *Shop) ownerKey() (events.BenchKey, error) {
	seed, err := os.ReadFile(filepath.Join(s.Dir, "keys", "owner.key"))
	if err != nil {
		return events.BenchKey{}, err
	}
	return events.BenchKeyFrom(trimNewline(seed))
}

// Leave says when a meeting is left before it is through. Zero is never.
type Leave struct {
	Silent time.Duration // the exchange does not answer
	Idle   time.Duration // nothing moves, though something should
	Held   time.Duration // the folder is held
}

var (
	// Patient is for a person who waits for the meeting.
	Patient = Leave{Silent: 10 * time.Second, Idle: 15 * time.Second}

	// brief is for meetings behind a person's back, who may want the folder.
	brief = Leave{2 * time.Second, 2 * time.Second, 2 * time.Second}
)

// errLeft is the cause where a meeting was left.
var errLeft = errors.New("left before it was through")

// watch gives a context that ends when it is time to leave, and a told that
// hears what moves.
func (l Leave) watch(ctx context.Context, told func(meet.Progress)) (context.Context, func(meet.Progress), context.CancelFunc) {
	ctx, cancel := context.WithCancelCause(ctx)
	left := func() { cancel(errLeft) }
	after := func(d time.Duration) *time.Timer {
		if d == 0 {
			return time.NewTimer(0)
		}
		return time.AfterFunc(d, left)
	}
	idle, held := after(l.Idle), after(l.Held)
	moved := 0
	hear := func(p meet.Progress) {
		if n := p.Took + p.Gave + p.Aside + p.Keys; n != moved && l.Idle > 0 {
			moved = n
			idle.Reset(l.Idle)
		}
		if told != nil {
			told(p)
		}
	}
	return ctx, hear, func() { idle.Stop(); held.Stop(); cancel(nil) }
}

// Meet meets an exchange until all is exchanged, or it is time to leave.
func (s *Shop) Meet(ctx context.Context, r *Reached, l Leave, told func(meet.Progress)) (m Met, err error) {
	s.meeting.Lock()
	defer s.meeting.Unlock()
	if err := s.ensureKey(); err != nil {
		return m, err
	}
	b, err := s.replica()
	if err != nil {
		return m, err
	}
	if _, ok := b.Inbox.Ring().Sealing(); !ok {
		return m, ErrNoShopKey
	}
	if err := s.sayAgain(b); err != nil {
		return m, err
	}
	here, told, done := l.watch(ctx, told)
	defer done()
	before, hear := s.eventsHere(), told
	if l.Held == 0 { // making all anew takes longer than a short meeting may
		hear = s.catchingUp().heard(told)
	}
	p, err := meet.Exchange(here, b, r.x, meet.Options{Once: true, Told: hear, Changed: s.Log.Changed, Patience: l.Silent})
	m = s.met(b, r.With)
	m.Took, m.Gave, m.Aside = s.eventsHere()-before, p.GaveEvents, p.Aside
	if err == nil {
		err = s.heed() // or this bench would give the keys of whom the others forgot
	}
	if err == nil {
		err = s.meetKeys(here, b, r.x, &m, func(k meet.KeysMet) {
			p.Keys = k.Took + k.Gave
			told(p)
		})
	}
	switch {
	case ctx.Err() != nil:
		err = ErrStopped
	case errors.Is(context.Cause(here), errLeft):
		m.left, err = true, nil
	case err != nil:
		err = r.broke(err)
	}
	if err == nil {
		err = s.rememberMeeting(m, r.x.Loosened())
	}
	if err == nil {
		m.errand, err = s.errand(b)
	}
	return m, errors.Join(err, s.tookSome(m.Took), s.follow())
}

// met says how this bench stands after a meeting.
func (s *Shop) met(b *replicate.Bench, with string) Met {
	st := b.Standing()
	m := Met{With: with, AllHere: len(st.Missing) == 0, AllThere: len(st.Owing) == 0 && len(st.Stuck) == 0, WaitsFor: []string{}, NotHeeded: []string{}}
	for _, w := range s.waits(st.Missing, benchNames(b.Inbox.Roster())) {
		m.WaitsFor = append(m.WaitsFor, w.String())
	}
	if aside, err := b.Inbox.Aside(); err == nil {
		m.NotHeeded = append(m.NotHeeded, asideLines(aside, benchNames(b.Inbox.Roster()))...)
	}
	return m
}

// tookFile says something else whenever events of others came, by whichever way:
// a program that runs beside the commands sees by it that there is something to
// pass on.
const tookFile = "took.json"

func (s *Shop) tookSome(n int) error {
	if n == 0 {
		return nil
	}
	return writeJSON(filepath.Join(s.Dir, tookFile), struct {
		At     time.Time `json:"at"`
		Events int       `json:"events"`
		Here   int       `json:"here"`
	}{s.now(), n, s.eventsHere()})
}

// eventsHere counts the events of all feeds.
func (s *Shop) eventsHere() (n int) {
	for _, b := range s.Log.Branches() {
		n += int(b.Own())
	}
	return n
}

// wait is how many events of a bench are known of and not here.
type wait struct {
	bench string
	n     uint64
}

func (w wait) String() string {
	return "waiting for " + eventCount(w.n) + " of bench " + w.bench
}

func eventCount[N int | uint64](n N) string {
	return events.Count(int(n), "event")
}

// waits sums up by bench what heads say that goes further than what is here. One
// feed may be named more than once. Of a branch that is not here it is only known
// where it ends.
func (s *Shop) waits(heads []events.Head, names func(events.BenchID) string) (list []wait) {
	far := map[events.FeedID]uint64{}
	for _, h := range heads {
		far[h.Feed] = max(far[h.Feed], h.Seq)
	}
	for _, h := range s.Log.Heads() {
		if n, ok := far[h.Feed]; ok {
			far[h.Feed] = max(1, n-min(h.Seq, n))
		}
	}
	sum := map[string]uint64{}
	for f, n := range far {
		sum[names(f.Bench)] += n
	}
	for _, name := range slices.Sorted(maps.Keys(sum)) {
		if sum[name] > 0 {
			list = append(list, wait{name, sum[name]})
		}
	}
	return list
}

// benchNames names benches as the owner named them.
func benchNames(r roster.Roster) func(events.BenchID) string {
	return func(id events.BenchID) string {
		if b, ok := r.Bench(id); ok {
			return b.Name
		}
		return id.String()[:6] + " (not admitted)"
	}
}
