package roster

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"math"
	"slices"

	"oldhand/events"
)

// Roster is who belongs to a shop. It is a value: nothing changes it, and
// rosters of equal sets of events are deeply equal.
type Roster struct {
	shop      events.ShopID
	name      string // of the shop; empty while its founding is not here
	founded   bool
	owners    []events.BenchID // rising
	benches   []Bench          // by id
	keys      []shopKey        // by epoch and name
	seal      int              // place of the sealing key in keys, or -1
	conflicts []Conflict
	refused   []Refusal
	refusals  int
}

// Bench is a bench that an owner admitted.
type Bench struct {
	ID       events.BenchID
	Name     string
	Number   uint32  // of its tags
	Admitted Carrier // the event that carries the admission
	Retired  bool
	Why      string        // it was retired
	Counted  []events.Head // what counts of a retired bench: by feed, number, hash
}

// MaxRefused is how many refusals are listed. A bench that floods the shop
// with forgeries is known by far fewer.
const MaxRefused = 100

// Refusal is an event about the roster that was not heeded.
type Refusal struct {
	Carrier
	Kind events.Kind
	Why  string
}

// Shop is the shop the roster is of.
func (r Roster) Shop() events.ShopID { return r.shop }

// Founded gives the shop's name, and false while its founding is not among the
// events. Until then nobody belongs to it.
func (r Roster) Founded() (name string, ok bool) { return r.name, r.founded }

// Owners lists the keys whose signatures count, by id.
func (r Roster) Owners() []events.BenchID { return slices.Clone(r.owners) }

// Benches lists those admitted, by id.
func (r Roster) Benches() []Bench {
	list := slices.Clone(r.benches)
	for i := range list {
		list[i].Counted = slices.Clone(list[i].Counted)
	}
	return list
}

// Bench finds an admitted bench.
func (r Roster) Bench(id events.BenchID) (Bench, bool) {
	b, ok := r.find(id)
	b.Counted = slices.Clone(b.Counted)
	return b, ok
}

func (r Roster) find(id events.BenchID) (Bench, bool) {
	i, ok := slices.BinarySearchFunc(r.benches, id, func(b Bench, id events.BenchID) int { return compareBenches(b.ID, id) })
	if !ok {
		return Bench{}, false
	}
	return r.benches[i], true
}

// Refused lists what was not heeded, by carrier, at most MaxRefused of total.
func (r Roster) Refused() (list []Refusal, total int) { return slices.Clone(r.refused), r.refusals }

// ErrNotOwner is returned when a statement is signed by no owner of the shop.
var ErrNotOwner = errors.New("not signed by an owner of this shop")

// OwnerSigned checks a statement that is not about the roster and needs an
// owner's word, such as the forgetting of a person.
func (r Roster) OwnerSigned(statement, signature []byte) error {
	for _, o := range r.owners {
		if ed25519.Verify(o[:], statement, signature) {
			return nil
		}
	}
	return ErrNotOwner
}

// Standing is whether events up to a head count.
type Standing uint8

// The standings. The zero one is no standing, so that a verdict forgotten is
// not one that counts.
const (
	Counted     Standing = iota + 1 // they count
	NotAdmitted                     // no owner admitted the bench, as far as is known here
	Beyond                          // of a retired bench, behind what counts of it
	OtherBranch                     // of a retired bench, with another hash than what counts
)

// Verdict is a standing with the words a person is shown for it.
type Verdict struct {
	Standing Standing
	Words    string
}

// Counts reports whether the verdict is that they count.
func (v Verdict) Counts() bool { return v.Standing == Counted }

var errNotFounded = errors.New("the shop's founding is not here yet")

// Counts judges whether a feed's events up to a head may count. For a retired
// bench it goes by numbers, and by the hash where the numbers are equal; the
// package comment says what holds on branches.
func (r Roster) Counts(h events.Head) Verdict {
	b, ok := r.find(h.Feed.Bench)
	switch {
	case !r.founded:
		return Verdict{NotAdmitted, errNotFounded.Error()}
	case !ok:
		return Verdict{NotAdmitted, fmt.Sprintf("bench %s was not admitted by an owner of this shop", shortBench(h.Feed.Bench))}
	case !b.Retired:
		return Verdict{Counted, fmt.Sprintf("bench %s belongs to the shop", b.Name)}
	}
	return b.counts(h)
}

func (b Bench) counts(h events.Head) Verdict {
	upTo, same := uint64(0), false
	for _, c := range b.of(h.Feed) {
		upTo, same = max(upTo, c.Seq), same || c == h
	}
	switch {
	case same || h.Seq < upTo:
		return Verdict{Counted, fmt.Sprintf("bench %s is retired; of feed %s events up to %d count", b.Name, h.Feed.Short(), upTo)}
	case upTo == 0:
		return Verdict{Beyond, fmt.Sprintf("bench %s is retired; of feed %s nothing counts", b.Name, h.Feed.Short())}
	case h.Seq == upTo:
		return Verdict{OtherBranch, fmt.Sprintf("bench %s is retired; event %d of feed %s is not the one that counts", b.Name, h.Seq, h.Feed.Short())}
	}
	return Verdict{Beyond, fmt.Sprintf("bench %s is retired; of feed %s events up to %d count, this is %d", b.Name, h.Feed.Short(), upTo, h.Seq)}
}

// Counted is the highest number of a feed that can count: all of it for a
// bench that belongs to the shop, nothing for one that never did.
func (r Roster) Counted(feed events.FeedID) (upTo uint64, all bool) {
	b, ok := r.find(feed.Bench)
	if ok && !b.Retired {
		return math.MaxUint64, true
	}
	for _, h := range b.of(feed) {
		upTo = max(upTo, h.Seq)
	}
	return upTo, false
}

// Heads are the heads up to which a retired bench's feed counts, by number and
// hash: one, or more where owners released a second branch.
func (r Roster) Heads(feed events.FeedID) []events.Head {
	b, _ := r.find(feed.Bench)
	return slices.Clone(b.of(feed))
}

// of is the part of what counts that is of one feed.
func (b Bench) of(feed events.FeedID) []events.Head {
	first, _ := slices.BinarySearchFunc(b.Counted, feed, func(h events.Head, f events.FeedID) int { return compareFeeds(h.Feed, f) })
	n := first
	for n < len(b.Counted) && b.Counted[n].Feed == feed {
		n++
	}
	return b.Counted[first:n]
}

func shortBench(id events.BenchID) string { return id.String()[:6] }
