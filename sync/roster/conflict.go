package roster

import (
	"cmp"
	"fmt"
	"slices"

	"oldhand/events"
)

// Matter is what an owner should look at.
type Matter uint8

// The matters. Each has a rule by which the roster stands meanwhile, in the
// package comment.
const (
	RetiredTwice  Matter = iota + 1 // one bench, retired with different heads
	AdmittedTwice                   // one bench, admitted under different names or numbers
	NumberShared                    // two benches whose tags carry one number
	NameShared                      // two benches at work with one name
	KeysOfEpoch                     // different keys set for one epoch
	KeyKnown                        // a retired bench can open what is sealed today
	KeyMissing                      // a bench at work can't open what is sealed today
)

// Conflict is a matter with the words a person is shown for it.
type Conflict struct {
	Matter  Matter
	Benches []events.BenchID // concerned, by id
	Epoch   uint32           // of the key, where it is about one
	Words   string
}

func (c Conflict) compare(d Conflict) int {
	return cmp.Or(cmp.Compare(c.Matter, d.Matter), cmp.Compare(c.Epoch, d.Epoch),
		slices.CompareFunc(c.Benches, d.Benches, compareBenches), cmp.Compare(c.Words, d.Words))
}

// Conflicts lists what owners should look at, by matter.
func (r Roster) Conflicts() []Conflict {
	list := slices.Clone(r.conflicts)
	for i := range list {
		list[i].Benches = slices.Clone(list[i].Benches)
	}
	return list
}

func retiredTwice(b Bench) Conflict {
	return Conflict{Matter: RetiredTwice, Benches: []events.BenchID{b.ID},
		Words: fmt.Sprintf("bench %s was retired more than once, with different heads; of each feed the lower counts", b.Name)}
}

func admittedTwice(stands, other Bench) Conflict {
	return Conflict{Matter: AdmittedTwice, Benches: []events.BenchID{stands.ID},
		Words: fmt.Sprintf("one bench was admitted as %s with number %d and as %s with number %d; the former stands",
			stands.Name, stands.Number, other.Name, other.Number)}
}

// shared finds benches that share a number or a name. Tags that a retired
// bench gave are still tied to sets, so its number is not free; its name is.
func (r *Roster) shared() (list []Conflict) {
	numbers, names := map[uint32][]Bench{}, map[string][]Bench{}
	for _, b := range r.benches {
		numbers[b.Number] = append(numbers[b.Number], b)
		if !b.Retired {
			names[b.Name] = append(names[b.Name], b)
		}
	}
	for n, of := range numbers {
		if len(of) > 1 {
			list = append(list, Conflict{Matter: NumberShared, Benches: ids(of),
				Words: fmt.Sprintf("%d benches have the number %d: the tags they give can be the same", len(of), n)})
		}
	}
	for name, of := range names {
		if len(of) > 1 {
			list = append(list, Conflict{Matter: NameShared, Benches: ids(of), Words: fmt.Sprintf("%d benches are called %s", len(of), name)})
		}
	}
	return list
}

func ids(benches []Bench) (list []events.BenchID) {
	for _, b := range benches {
		list = append(list, b.ID)
	}
	return list
}
