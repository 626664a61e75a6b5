package demo

import (
	"errors"
	"fmt"
	"iter"

	"oldhand/events"
)

// Options choose a story. Equal options tell the same story to the byte.
type Options struct {
	Seed  uint64
	Units int // how many units come in, each with an id of its own; 0 is 2000
}

const (
	defaultUnits = 2000
	// leastUnits leaves room around the units that stand for the sights.
	leastUnits = 200
	// mostUnits is where serial numbers would repeat.
	mostUnits = 9_000_000
)

// Bench is one of the shop's laptops.
type Bench struct {
	Key    events.BenchKey
	Name   string
	Number uint32
}

// Action is what one person saved at once, on one feed. Keys has the key of
// each person that the action records.
type Action struct {
	Events []events.Event
	Keys   map[events.PersonID]events.PersonKey
}

// Story is the invented shop of one seed.
type Story struct {
	opt      Options
	owner    events.BenchKey
	founding events.ShopFounded
	shop     events.ShopID
	benches  []Bench
	parts    map[swap]part
	odds     map[*model][]odds // by years since the model's first
	heads    []events.SignedHead
}

const shopName = "Mallowgate Radio and Intercom Repair"

// rooms are where the benches stand, and who works at each in the first half
// of the story and in the second.
var rooms = []struct {
	name   string
	people [2]string
}{
	{"counter", [2]string{"ro", "ro"}},
	{"long bench", [2]string{"tam", "jul"}},
	{"loft bench", [2]string{"wex", "pim"}},
}

// Streams of chance: what one draws does not move another.
const (
	keyStream   = 1
	storyStream = 2
)

// New prepares a story. The keys follow from the seed, so that they are no
// secret: the shop is for looking at, not for work.
func New(o Options) (*Story, error) {
	if o.Units == 0 {
		o.Units = defaultUnits
	}
	if o.Units < leastUnits || o.Units > mostUnits {
		return nil, fmt.Errorf("demo of %d units: want %d to %d", o.Units, leastUnits, mostUnits)
	}
	s := &Story{opt: o}
	if err := s.found(newDice(o.Seed, keyStream)); err != nil {
		return nil, fmt.Errorf("demo of seed %d: %w", o.Seed, err)
	}
	parts, err := readParts()
	if err != nil {
		return nil, fmt.Errorf("demo: %w", err)
	}
	s.parts, s.odds = parts, allOdds()
	return s, nil
}

// found draws the keys and founds the shop.
func (s *Story) found(d dice) (err error) {
	var random [32]byte
	var nonce [16]byte
	d.fill(random[:])
	d.fill(nonce[:])
	if s.owner, err = events.OwnerKeyOf(random); err != nil {
		return err
	}
	if s.founding, err = s.owner.Found(shopName, nonce); err != nil {
		return err
	}
	s.shop = s.founding.Shop()
	for i, room := range rooms {
		d.fill(random[:])
		key, err := events.BenchKeyOf(random)
		if err != nil {
			return err
		}
		s.benches = append(s.benches, Bench{key, room.name, uint32(i + 1)})
	}
	return nil
}

func allOdds() map[*model][]odds {
	all := map[*model][]odds{}
	for i := range models {
		m := &models[i]
		for year := m.from; year <= m.to; year++ {
			all[m] = append(all[m], oddsOf(m, year))
		}
	}
	return all
}

// Name is the shop's name.
func (s *Story) Name() string { return shopName }

// Shop is the shop's id.
func (s *Story) Shop() events.ShopID { return s.shop }

// Owner is the key that founds the shop and admits its benches.
func (s *Story) Owner() events.BenchKey { return s.owner }

// Benches are the shop's three benches, by number.
func (s *Story) Benches() []Bench { return append([]Bench(nil), s.benches...) }

// Actions tells the story in the order of recording. It can be told again and
// comes out the same. After an error nothing more comes.
func (s *Story) Actions() iter.Seq2[Action, error] {
	return func(yield func(Action, error) bool) {
		t, err := newTeller(s)
		if err != nil {
			yield(Action{}, fmt.Errorf("begin the demo: %w", err))
			return
		}
		if !t.tell(yield) {
			return
		}
		if s.heads, err = t.signedHeads(); err != nil {
			yield(Action{}, fmt.Errorf("end the demo: %w", err))
		}
	}
}

var errNotTold = errors.New("heads of the demo: its actions have not been read to their end")

// Heads are the last heads of all feeds, signed, bench by bench in the order
// in which the feeds began. They stand once Actions was read to its end.
func (s *Story) Heads() ([]events.SignedHead, error) {
	if s.heads == nil {
		return nil, errNotTold
	}
	return s.heads, nil
}
