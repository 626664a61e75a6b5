package app

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

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
	Gave      int      `json:"segments_given"`
	Aside     int      `json:"segments_kept_aside"`
	AllHere   bool     `json:"all_here"`   // nothing is known of that is not here
	AllThere  bool     `json:"all_there"`  // nothing is here that is not there
	WaitsFor  []string `json:"waits_for"`  // in words, what is known of and not here
	NotHeeded []string `json:"not_heeded"` // why what was kept aside was
}

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

func (s *Shop) ownerKey() (events.BenchKey, error) {
	seed, err := os.ReadFile(filepath.Join(s.Dir, "keys", "owner.key"))
	if err != nil {
		return events.BenchKey{}, err
	}
	return events.BenchKeyFrom(trimNewline(seed))
}

// Meet meets an exchange until all is exchanged.
func (s *Shop) Meet(ctx context.Context, x *exchange.Exchange, with string, told func(meet.Progress)) (m Met, err error) {
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
	p, err := meet.Exchange(ctx, b, x, meet.Options{Once: true, Told: told, Changed: s.Log.Changed})
	m = s.met(b, with)
	m.Took, m.Gave, m.Aside = p.Took, p.Gave, p.Aside
	if err != nil {
		return m, fmt.Errorf("meet the exchange at %s: %w", with, err)
	}
	return m, errors.Join(s.freshViews(), s.rememberMeeting(m))
}

// lastMet is when this bench met an exchange last, and how it stood then.
type lastMet struct {
	At       string `json:"at"`
	AllHere  bool   `json:"all_here"`
	AllThere bool   `json:"all_there"`
}

const metFile = "met.json"

func (s *Shop) rememberMeeting(m Met) error {
	return writeJSON(filepath.Join(s.Dir, metFile), lastMet{s.now().Format("2006-01-02 15:04"), m.AllHere, m.AllThere})
}

// met says how this bench stands after a meeting.
func (s *Shop) met(b *replicate.Bench, with string) Met {
	st := b.Standing()
	m := Met{With: with, AllHere: len(st.Missing) == 0, AllThere: len(st.Owing) == 0 && len(st.Stuck) == 0, WaitsFor: []string{}, NotHeeded: []string{}}
	names := benchNames(b.Inbox.Roster())
	here := map[events.FeedID]uint64{}
	for _, h := range s.Log.Heads() {
		here[h.Feed] = h.Seq
	}
	for _, h := range st.Missing {
		m.WaitsFor = append(m.WaitsFor, fmt.Sprintf("waiting for %d events of bench %s", h.Seq-here[h.Feed], names(h.Feed.Bench)))
	}
	if aside, err := b.Inbox.Aside(); err == nil {
		for _, a := range aside {
			m.NotHeeded = append(m.NotHeeded, fmt.Sprintf("kept aside, because %s: %s", a.Why, a.Words))
		}
	}
	return m
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

// Sync meets an exchange, one that this bench knows; addresses say where it is
// now, none where it was.
func (s *Shop) Sync(ctx context.Context, addresses []string, told func(meet.Progress)) (Met, error) {
	x, err := s.dialKnown(ctx, addresses)
	if err != nil {
		return Met{}, err
	}
	defer x.Close()
	return s.Meet(ctx, x, "the exchange", told)
}

// dialKnown connects to the first exchange that answers of those that are known
// by their pins.
func (s *Shop) dialKnown(ctx context.Context, addresses []string) (*exchange.Exchange, error) {
	known, err := exchanges(s.Dir)
	if err != nil {
		return nil, err
	}
	if len(known) == 0 {
		return nil, &NoExchange{}
	}
	var errs []error
	for _, k := range known {
		if len(addresses) > 0 {
			k.Addresses = addresses
		}
		x, err := s.dial(ctx, k)
		if err == nil {
			return x, nil
		}
		errs = append(errs, err)
	}
	return nil, errors.Join(errs...)
}

func (s *Shop) dial(ctx context.Context, k KnownExchange) (*exchange.Exchange, error) {
	start, err := k.start()
	if err != nil {
		return nil, err
	}
	x, err := exchange.Dial(ctx, exchange.DialOptions{Addrs: k.Addresses, Start: start, Key: s.key, Tag: s.tag()})
	if errors.Is(err, exchange.ErrNotAdmitted) {
		return nil, &NotHere{"the exchange at " + k.Addresses[0], "does not let this bench in: it was retired, or its admission has not reached the host"}
	}
	if err != nil {
		return nil, fmt.Errorf("the exchange at %s: %w", strings.Join(k.Addresses, " or "), err)
	}
	return x, nil
}
