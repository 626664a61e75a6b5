package app

import (
	"bytes"
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/bundle"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Carried says what a bundle holds.
type Carried struct {
	File     string `json:"file"`
	Events   uint64 `json:"events"`
	Segments int    `json:"segments"`
	Names    int    `json:"names"` // keys of customers' names
	Bytes    int64  `json:"bytes"`
	Held     int    `json:"held_back"` // events that no signed head covers yet

	Photos *CarriedPhotos `json:"photos,omitempty"` // in a file beside
}

// Carry says what goes into a bundle.
type Carry struct {
	Since   string // only what the writer of this older bundle did not have; empty for all
	NoNames bool   // not the keys of customers' names
	Photos  bool   // the photos and recordings too, in a file beside
}

// WriteBundle writes what this bench has into a file. The keys of customers'
// names all go in, also into one that is to be short: who has the older bundle
// may have had it without names.
func (s *Shop) WriteBundle(path string, what Carry) (c Carried, err error) {
	if c, err = s.writeBundle(path, what); err != nil || !what.Photos {
		return c, err
	}
	beside, err := s.WritePhotos(path + bundle.PhotosEnding)
	c.Photos = &beside
	return c, err
}

func (s *Shop) writeBundle(path string, what Carry) (c Carried, err error) {
	s.meeting.Lock()
	defer s.meeting.Unlock()
	if err := s.ensureKey(); err != nil {
		return c, err
	}
	b, err := s.replica()
	if err != nil {
		return c, err
	}
	key, ok := b.Inbox.Ring().Sealing()
	if !ok {
		return c, ErrNoShopKey
	}
	if err := s.sayAgain(b); err != nil {
		return c, err
	}
	had, err := s.had(b, what.Since)
	if err != nil {
		return c, err
	}
	signed, err := s.Log.SignedHeads()
	if err != nil {
		return c, err
	}
	keys, err := s.sealKeys(b, what.NoNames)
	if err != nil {
		return c, err
	}
	o := bundle.Options{Shop: s.Log.Shop(), Epoch: key.Epoch, Key: segment.Key(key.Secret), Had: headList(s.Log.Heads(), signed), Keys: keys.any, Random: rand.Reader}
	err = bundle.WriteFile(path, o, func(w *bundle.Writer) error {
		c = Carried{File: path}
		for _, r := range asAdmitted(s.Log.Branches(), b.Inbox.Roster()) {
			if err := carryBranch(b, w, r, had[r.Branch], &c); err != nil {
				return err
			}
		}
		c.Names, err = keys.add(w)
		return err
	})
	if err != nil {
		return c, err
	}
	info, err := os.Stat(path)
	if err == nil {
		c.Bytes = info.Size()
	}
	return c, err
}

// asAdmitted puts the branches of benches first that were admitted first: by their numbers.
// What lets a bench in then stands before what it wrote, and whoever joins by the file
// need not keep that aside.
func asAdmitted(branches []eventlog.Reach, who roster.Roster) []eventlog.Reach {
	number := func(r eventlog.Reach) uint32 {
		if b, ok := who.Bench(r.Feed.Bench); ok {
			return b.Number
		}
		return math.MaxUint32
	}
	slices.SortStableFunc(branches, func(a, b eventlog.Reach) int { return cmp.Compare(number(a), number(b)) })
	return branches
}

// carryBranch adds what is new of a branch of a feed.
func carryBranch(b *replicate.Bench, w *bundle.Writer, r eventlog.Reach, had uint64, c *Carried) error {
	for after := max(had, r.Base.Seq); after < r.Head.Seq; {
		sealed, end, err := b.Seal(r.Branch, after)
		if errors.Is(err, replicate.ErrUnproven) {
			c.Held += int(r.Head.Seq - after)
			return nil
		}
		if err != nil {
			return err
		}
		if err := w.Add(sealed); err != nil {
			return err
		}
		c.Segments++
		c.Events += end.Seq - after
		after = end.Seq
	}
	return nil
}

// headList is how far this bench has each feed, with signatures where it can
// prove it. The list has one head a feed: of one with branches that of the branch
// which came here first. Its other branches are in the bundle all the same.
func headList(heads []events.Head, signed []events.SignedHead) []bundle.Had {
	proofs := map[events.Head]events.SignedHead{}
	for _, s := range signed {
		proofs[s.Head] = s
	}
	list := make([]bundle.Had, 0, len(heads))
	for _, h := range heads {
		list = append(list, bundle.Had{Head: h, Signature: proofs[h].Signature})
	}
	return list
}

// had is how far the writer of an older bundle had each branch of each feed, as
// far as this bench has the same events and the bundle says so.
func (s *Shop) had(b *replicate.Bench, path string) (map[eventlog.Branch]uint64, error) {
	had := map[eventlog.Branch]uint64{}
	if path == "" {
		return had, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list, err := bundle.ReadHeads(f, s.Log.Shop(), keysOf(b))
	if err != nil && len(list) == 0 {
		return nil, notRead(path, err) // with some heads the file only gets larger
	}
	return had, s.view(func(v *eventlog.View) error {
		for _, h := range list {
			along, err := v.Along(1, h.Head)
			if err != nil {
				return err
			}
			for _, part := range along {
				had[part.Branch] = max(had[part.Branch], part.Head.Seq)
			}
		}
		return nil
	})
}

func keysOf(b *replicate.Bench) bundle.Keys {
	return func(epoch uint32) (segment.Key, bool) {
		of := b.Inbox.Ring().Of(epoch)
		if len(of) == 0 {
			return segment.Key{}, false
		}
		return segment.Key(of[0].Secret), true
	}
}

// takeFile takes in what a file holds, while nothing else is exchanged.
func takeFile[T any](s *Shop, path string, take func(*os.File, *replicate.Bench) (T, error)) (got T, err error) {
	s.meeting.Lock()
	defer s.meeting.Unlock()
	f, err := os.Open(path)
	if err != nil {
		return got, err
	}
	defer f.Close()
	b, err := s.replica()
	if err != nil {
		return got, err
	}
	return take(f, b)
}

// readBundle takes in the events and the keys that a file holds.
func (s *Shop) readBundle(path string) (Met, error) {
	return takeFile(s, path, func(f *os.File, b *replicate.Bench) (Met, error) { return s.takeBundle(path, f, b) })
}

func (s *Shop) takeBundle(path string, f *os.File, b *replicate.Bench) (m Met, err error) {
	kept, took, before, catching := 0, 0, s.eventsHere(), s.catchingUp()
	names := s.takingKeys(b)
	begun := time.Now()
	hold := func(on bool) error { return b.Hold(on, time.Since(begun).Milliseconds()) }
	ahead := opened{b: b, take: func(sealed []byte, opening *replicate.Opening) error {
		if err := hold(true); err != nil { // more lies ready
			return err
		}
		came, err := b.BundleAhead(sealed, opening, 0)
		if came.Aside != 0 {
			kept++
		}
		took += came.Took
		return errors.Join(err, catching.took(took))
	}}
	settled := func() error { return errors.Join(ahead.rest(), hold(false)) }
	report, err := bundle.ReadWithKeys(f, s.Log.Shop(), keysOf(b), ahead.add, func(piece []byte) error {
		return errors.Join(settled(), names.take(piece)) // what a key opens must be here
	})
	err = errors.Join(err, settled(), names.flush())
	if err == nil {
		err = hear(b, report.Had)
	}
	m = s.met(b, filepath.Base(path))
	m.Took, m.Aside, m.Names = s.eventsHere()-before, kept, names.took
	m.NotHeeded = append(m.NotHeeded, names.says()...)
	switch {
	case err != nil:
		err = notRead(path, err)
	case report.Err() != nil:
		err = &NotWhole{Path: path, Why: report.Err(), What: eventCount(m.Took)}
	}
	return m, errors.Join(err, s.rememberFile(m), s.tookSome(m.Took), s.follow())
}

// opened are segments of a file that are being opened while those before them are
// taken.
type opened struct {
	b    *replicate.Bench
	take func(sealed []byte, opening *replicate.Opening) error
	next []sealedAhead
}

type sealedAhead struct {
	bytes   []byte
	opening *replicate.Opening
}

// mostOpened is how many at most: each is half a megabyte at most, and its events
// several times that.
const mostOpened = 8

func (o *opened) add(sealed []byte) error {
	sealed = bytes.Clone(sealed)
	o.next = append(o.next, sealedAhead{sealed, o.b.Ahead(sealed)})
	if len(o.next) < mostOpened {
		return nil
	}
	return o.first()
}

func (o *opened) first() error {
	s := o.next[0]
	o.next = o.next[1:]
	err := o.take(s.bytes, s.opening)
	if err != nil {
		o.next = nil // what follows would only be seen to lack what was before it
	}
	return err
}

// rest takes those that are left.
func (o *opened) rest() error {
	for len(o.next) > 0 {
		if err := o.first(); err != nil {
			return err
		}
	}
	return nil
}

// notRead says in words why a file gives nothing.
func notRead(path string, err error) error {
	switch {
	case errors.Is(err, bundle.ErrNotBundle):
		return &Wrong{path, "is no bundle; one is made with: oldhand bundle write"}
	case errors.Is(err, bundle.ErrOtherShop):
		return &Wrong{path, "is another shop's bundle; nothing of it was read; a machine comes into that shop in a folder of its own: oldhand join CODE --bench NAME --shop NEW"}
	case errors.Is(err, bundle.ErrNewer):
		return &Wrong{path, "was made by a newer version of this program; update this one"}
	case errors.Is(err, bundle.ErrCut), errors.Is(err, bundle.ErrDamaged):
		return &NotWhole{Path: path, Why: err, What: "nothing"}
	}
	return fmt.Errorf("%s: %w", path, err)
}

// NotWhole is returned when a bundle was cut or damaged. What was whole of it is
// taken.
type NotWhole struct {
	Path string
	Why  error
	What string // was taken
}

func (e *NotWhole) Error() string {
	why := bundle.ErrDamaged
	if errors.Is(e.Why, bundle.ErrCut) {
		why = bundle.ErrCut
	}
	return fmt.Sprintf("%s: %v; what was whole of it is taken: %s", e.Path, why, e.What)
}

// Unwrap gives what is wrong with the file.
func (e *NotWhole) Unwrap() error { return e.Why }

func hear(b *replicate.Bench, had []bundle.Had) error {
	var heads []events.SignedHead
	for _, h := range had {
		if signed, ok := h.Signed(); ok {
			heads = append(heads, signed)
		}
	}
	return b.Inbox.Hear(heads)
}
