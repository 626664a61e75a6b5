package projections

import (
	"cmp"
	"encoding/binary"
	"hash/maphash"
	"slices"
	"sort"
	"strings"
	"sync"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Named is a customer found by name.
type Named struct {
	ID   events.PersonID
	Name string
}

// Customers are the names of customers, opened: to open them all takes the greater
// part of a second at a million events. They are in memory only, never on disk, and
// as long as nobody looks for a name none is opened. Its zero value is ready, for
// the views of one log, and may be used by several goroutines.
//
// What is given is never of a view older than the one asked with, and of those who
// were forgotten by then nothing is (P15). Refresh takes what is kept of them out of
// memory at once, without waiting for the next to ask.
type Customers struct {
	mu   sync.Mutex // held while names are opened: of several who ask one opens them
	list *nameList  // replaced as a whole; nil before the first asks
}

// Sealed is a view with the keys of what is sealed in it.
type Sealed interface {
	Numbered
	// PersonsSince is how the ids of persons begin of whom a view of a class, or a
	// row of the keyring, was written after a commit. It may say so of more.
	PersonsSince(commit uint64, class byte) eventlog.FirstBytes
	// PersonsBeginning calls fn with the rows of the keyring whose person's id
	// begins with a byte, by person.
	PersonsBeginning(b byte, fn func(events.KeyEntry) (bool, error)) error
}

// Unsaved is an action being made, above the newest view: what it wrote, and those
// before it in the same commit, is in no view yet.
type Unsaved interface {
	Reader
	Opener
	PersonsWritten(class byte) eventlog.FirstBytes
}

// nameList is names as of one commit. It is not changed any more. Of what a commit
// changed the shelves are made anew, and the others are those of the list before: a
// customer more costs a part in 256 of all.
type nameList struct {
	commit  uint64
	shelves [256]*nameShelf // by the first byte of the id
	text    *nameText       // nil until somebody looks for a name
}

// nameShelf is customers whose ids begin with one byte.
type nameShelf struct {
	all   []openName // by person
	alike []alikeName
}

type openName struct {
	Named
	sum uint64 // of what was opened, and the key
}

// alikeName is whose name has a sum that names spelled alike have, in the order of
// the sums, then of persons.
type alikeName struct {
	sum uint64
	id  events.PersonID
}

// nameText is all names to be looked through at once.
type nameText struct {
	all  []Named // by person
	text string  // their names in lower case, each ended by a line feed
	ends []int   // where in text each ends
}

// Find gives the customers whose name has each of some words, which are in lower
// case, in no particular order.
func (c *Customers) Find(v Sealed, words []string) ([]Named, error) {
	c.mu.Lock()
	text, err := c.textOf(v)
	c.mu.Unlock()
	if err != nil {
		return nil, err
	}
	return text.find(words), nil
}

// Namesakes gives, by person, everybody who may have a name, in any spelling that
// events.Key takes for the same, as an action sees it that is made on a view. Others
// may be among them: what they are called is for the caller to open.
func (c *Customers) Namesakes(v Sealed, tx Unsaved, name string) ([]events.PersonID, error) {
	c.mu.Lock()
	list, err := c.of(v)
	c.mu.Unlock()
	if err != nil {
		return nil, err
	}
	sum, written := sumOfName(name), tx.PersonsWritten(personClass)
	var found []events.PersonID
	for b, shelf := range list.shelves {
		if !written[b] {
			found = append(found, shelf.called(sum)...)
		} else if found, err = everybodyOn(tx, byte(b), found); err != nil {
			return nil, err
		}
	}
	return found, nil
}

// everybodyOn adds all who are recorded under a first byte.
func everybodyOn(r Reader, b byte, list []events.PersonID) ([]events.PersonID, error) {
	lo := []byte{personClass, b}
	err := r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
		if len(k) != 17 {
			return false, errView
		}
		list = append(list, events.PersonID(k[1:]))
		return true, nil
	})
	return list, err
}

// Refresh takes the names of those who were forgotten out of memory.
func (c *Customers) Refresh(v Sealed) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.list == nil {
		return nil
	}
	_, err := c.of(v)
	return err
}

// of gives names that are as late as a view. The lock is held.
func (c *Customers) of(v Sealed) (*nameList, error) {
	old := c.list
	if old != nil && v.Commit() <= old.commit {
		return old, nil // one made of an older view could have somebody who was forgotten since
	}
	c.list = nil // whatever goes wrong, nothing old is kept
	next, err := nextNames(v, old)
	if err != nil {
		return nil, err
	}
	c.list = next
	return next, nil
}

// textOf is the names of a view to be looked through. The lock is held.
func (c *Customers) textOf(v Sealed) (*nameText, error) {
	list, err := c.of(v)
	if err != nil {
		return nil, err
	}
	if list.text == nil {
		list = &nameList{list.commit, list.shelves, textOf(list.shelves[:])}
		c.list = list
	}
	return list.text, nil
}

// nextNames opens the names of a view, but those that are among older ones.
func nextNames(v Sealed, old *nameList) (*nameList, error) {
	next := &nameList{commit: v.Commit()}
	var written eventlog.FirstBytes
	if old != nil {
		next.shelves, next.text = old.shelves, old.text
		written = v.PersonsSince(old.commit, personClass)
	}
	for b, shelf := range next.shelves {
		if shelf != nil && !written[b] {
			continue
		}
		next.text = nil
		var err error
		if next.shelves[b], err = openShelf(v, byte(b), shelf); err != nil {
			return nil, err
		}
	}
	return next, nil
}

var nameSeed = maphash.MakeSeed()

// openShelf opens the names under a first byte; old is what it was, or nil.
func openShelf(v Sealed, b byte, old *nameShelf) (*nameShelf, error) {
	keys, err := keysOf(v, b)
	if err != nil {
		return nil, err
	}
	shelf := &nameShelf{}
	var had []openName
	if old != nil {
		had = old.all
	}
	lo := []byte{personClass, b}
	err = v.Scan(lo, after(lo), func(k, row []byte) (bool, error) {
		if len(k) != 17 || len(row) < 16 {
			return false, errView
		}
		id := events.PersonID(k[1:])
		for len(keys) > 0 && string(keys[0].Person[:]) < string(id[:]) {
			keys = keys[1:]
		}
		if len(keys) == 0 || keys[0].Person != id {
			return true, nil
		}
		for len(had) > 0 && string(had[0].ID[:]) < string(id[:]) {
			had = had[1:]
		}
		one := openName{sum: sumOf(row, keys[0].Key)}
		if len(had) > 0 && had[0].ID == id && had[0].sum == one.sum {
			one = had[0]
		} else {
			p, err := events.PersonRecorded{Sealed: row[16:]}.Open(id, keys[0].Key)
			if err != nil {
				return false, err
			}
			one.Named = Named{id, p.Name}
		}
		shelf.all = append(shelf.all, one)
		return true, nil
	})
	shelf.sort()
	return shelf, err
}

func (s *nameShelf) sort() {
	s.alike = make([]alikeName, 0, len(s.all))
	for _, n := range s.all {
		s.alike = append(s.alike, alikeName{sumOfName(n.Name), n.ID})
	}
	slices.SortStableFunc(s.alike, func(a, b alikeName) int { return cmp.Compare(a.sum, b.sum) })
}

// called are those whose name has a sum, by person.
func (s *nameShelf) called(sum uint64) (list []events.PersonID) {
	at, _ := slices.BinarySearchFunc(s.alike, sum, func(a alikeName, sum uint64) int { return cmp.Compare(a.sum, sum) })
	for ; at < len(s.alike) && s.alike[at].sum == sum; at++ {
		list = append(list, s.alike[at].id)
	}
	return list
}

// sumOfName is the same of a name however it is spelled, and tells nobody the name.
func sumOfName(name string) uint64 { return maphash.String(nameSeed, events.Key(name)) }

// keysOf are the keys of those under a first byte who were not forgotten, by person.
func keysOf(v Sealed, b byte) (keys []events.KeyEntry, err error) {
	err = v.PersonsBeginning(b, func(e events.KeyEntry) (bool, error) {
		if !e.Forgotten() && !e.IsNothing() {
			keys = append(keys, e)
		}
		return true, nil
	})
	return keys, err
}

func sumOf(row []byte, key events.PersonKey) uint64 {
	return maphash.Bytes(nameSeed, binary.LittleEndian.AppendUint64(key[:], maphash.Bytes(nameSeed, row)))
}

func textOf(shelves []*nameShelf) *nameText {
	t := &nameText{}
	var text strings.Builder
	for _, shelf := range shelves {
		for _, n := range shelf.all {
			t.all = append(t.all, n.Named)
			text.WriteString(strings.ToLower(n.Name))
			text.WriteByte('\n')
			t.ends = append(t.ends, text.Len())
		}
	}
	t.text = text.String()
	return t
}

// find looks for the longest word in all names at once, and for the others in
// those that have it.
func (l *nameText) find(words []string) (found []Named) {
	if len(words) == 0 {
		return nil
	}
	longest := slices.MaxFunc(words, func(a, b string) int { return len(a) - len(b) })
	for at := 0; at < len(l.text); {
		i := strings.Index(l.text[at:], longest)
		if i < 0 {
			break
		}
		n := sort.SearchInts(l.ends, at+i+1)
		from := 0
		if n > 0 {
			from = l.ends[n-1]
		}
		if hasAll(l.text[from:l.ends[n]], words) {
			found = append(found, l.all[n])
		}
		at = l.ends[n]
	}
	return found
}

func hasAll(name string, words []string) bool {
	for _, w := range words {
		if !strings.Contains(name, w) {
			return false
		}
	}
	return true
}
