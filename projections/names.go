package projections

import (
	"encoding/binary"
	"hash/maphash"
	"slices"
	"sort"
	"strings"
	"sync"

	"oldhand/events"
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
	// KeysUnchanged reports whether the keyring is as it was at a commit.
	KeysUnchanged(commit uint64) bool
	// Persons calls fn with every row of the keyring, by person.
	Persons(fn func(events.KeyEntry) (bool, error)) error
}

// nameList is names as of one commit. It is not changed any more.
type nameList struct {
	commit uint64
	all    []openName // by person
	text   string     // their names in lower case, each ended by a line feed
	ends   []int      // where in text each ends
}

type openName struct {
	Named
	sum uint64 // of what was opened, and the key
}

// Find gives the customers whose name has each of some words, which are in lower
// case, in no particular order.
func (c *Customers) Find(v Sealed, words []string) ([]Named, error) {
	c.mu.Lock()
	list, err := c.of(v)
	c.mu.Unlock()
	if err != nil {
		return nil, err
	}
	return list.find(words), nil
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
	next := &nameList{commit: v.Commit()}
	if old != nil && v.KeysUnchanged(old.commit) && v.Unchanged(old.commit, []byte{'p'}) {
		*next = *old
		next.commit = v.Commit()
		c.list = next
		return next, nil
	}
	c.list = nil // whatever goes wrong, nothing old is kept
	if err := next.open(v, old); err != nil {
		return nil, err
	}
	c.list = next
	return next, nil
}

var nameSeed = maphash.MakeSeed()

// open opens the names of a view, but those that are among older ones.
func (l *nameList) open(v Sealed, old *nameList) error {
	keys, err := keysOf(v)
	if err != nil {
		return err
	}
	var had []openName
	if old != nil {
		had = old.all
	}
	var text strings.Builder
	err = v.Scan([]byte{'p'}, []byte{'p' + 1}, func(k, row []byte) (bool, error) {
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
		l.all = append(l.all, one)
		text.WriteString(strings.ToLower(one.Name))
		text.WriteByte('\n')
		l.ends = append(l.ends, text.Len())
		return true, nil
	})
	l.text = text.String()
	return err
}

// keysOf are the keys of those who were not forgotten, by person.
func keysOf(v Sealed) (keys []events.KeyEntry, err error) {
	err = v.Persons(func(e events.KeyEntry) (bool, error) {
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

// find looks for the longest word in all names at once, and for the others in
// those that have it.
func (l *nameList) find(words []string) (found []Named) {
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
			found = append(found, l.all[n].Named)
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
