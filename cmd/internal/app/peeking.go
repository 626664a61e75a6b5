package app

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"oldhand/events"
	"oldhand/sync/bundle"
	"oldhand/sync/segment"
)

// Peeked is what a bundle holds, seen without taking anything of it.
type Peeked struct {
	File    string        `json:"file"`
	Bytes   int64         `json:"bytes"`
	Shop    string        `json:"shop"` // this shop: another's is refused
	Benches []PeekedBench `json:"benches"`
	Names   int           `json:"names"` // keys of customers' names
	New     uint64        `json:"new"`   // events that are not here yet, as far as the bundle says true
	Whole   bool          `json:"whole"`
	Says    []string      `json:"says"` // what a person should know first

	Photos bool `json:"photos,omitempty"` // it is a file of photos and recordings, which goes with a bundle
}

// PeekedBench is what a bundle has of one bench.
type PeekedBench struct {
	Name   string `json:"name"`
	Events uint64 `json:"events"`
	New    uint64 `json:"new"`
}

// PeekBundle looks what is in a file. What its segments say of themselves is
// proven only when they are taken in.
func (s *Shop) PeekBundle(path string) (p Peeked, err error) {
	f, err := os.Open(path)
	if err != nil {
		return p, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return p, err
	}
	if only, err := holdsPhotos(path); err != nil || only {
		if err == nil {
			err = s.checkPhotos(f)
		}
		return Peeked{File: filepath.Base(path), Bytes: info.Size(), Shop: s.Card.Name, Photos: true}, err
	}
	b, err := s.replica()
	if err != nil {
		return p, err
	}
	p = Peeked{File: filepath.Base(path), Bytes: info.Size(), Shop: s.Card.Name, Benches: []PeekedBench{}, Says: []string{}}
	count := peeking{here: map[events.FeedID]uint64{}, sum: map[string]*PeekedBench{}, names: benchNames(b.Inbox.Roster())}
	for _, h := range s.Log.Heads() {
		count.here[h.Feed] = h.Seq
	}
	report, err := bundle.ReadWithKeys(f, s.Log.Shop(), keysOf(b), count.segment, func([]byte) error { p.Names++; return nil })
	if err != nil {
		return p, notRead(p.File, err)
	}
	for _, name := range slices.Sorted(maps.Keys(count.sum)) {
		p.Benches = append(p.Benches, *count.sum[name])
		p.New += count.sum[name].New
	}
	p.Whole = report.Err() == nil
	switch {
	case errors.Is(report.Err(), bundle.ErrCut):
		p.Says = append(p.Says, "the file is cut off; what is whole of it can be taken, and the rest from a fresh copy")
	case !p.Whole:
		p.Says = append(p.Says, "the file is damaged; what is whole of it can be taken, and the rest from a fresh copy")
	}
	if count.odd > 0 {
		p.Says = append(p.Says, "some of it was made by a newer version of this program, or is not what it claims to be; it is kept aside")
	}
	if p.New == 0 {
		p.Says = append(p.Says, "all events in it are here already")
	}
	return p, nil
}

// peeking counts what segments say they hold.
type peeking struct {
	here  map[events.FeedID]uint64
	sum   map[string]*PeekedBench
	names func(events.BenchID) string
	odd   int
}

func (c *peeking) segment(sealed []byte) error {
	place, err := segment.ReadPlace(sealed)
	if err != nil {
		c.odd++
		return nil
	}
	name := c.names(place.Feed.Bench)
	if c.sum[name] == nil {
		c.sum[name] = &PeekedBench{Name: name}
	}
	of := c.sum[name]
	of.Events += uint64(place.Len())
	if has := c.here[place.Feed]; place.Last > has {
		of.New += place.Last - max(has, place.First-1)
		c.here[place.Feed] = place.Last
	}
	return nil
}
