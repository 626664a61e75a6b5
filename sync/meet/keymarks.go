package meet

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"

	"oldhand/events"
	"oldhand/sync/keyring"
)

// Marks about keys stand beside those of package replicate. A laptop put back to
// an older copy has the marks of that copy, as it has its keyring.
//
//	k epoch              -> version(1) seq(8) hash(32) persons(8)   how far an exchange's keys were read
//	p epoch 0 person(16) -> what(1) seq(8) epoch(4) tried(1)        what the exchange has of a person
//
// Persons is of how many the exchange has something, by what was read of it: it
// has lost some where it says less. The epoch in the value is that of the shop's
// key, and tried how many keys of that epoch were tried.

// errMark is returned when a mark is not as this program writes it.
var errMark = errors.New("a mark about keys of another form")

// keyCursor is how far the keys of an exchange were read.
type keyCursor struct {
	epoch   string
	seq     uint64
	hash    [sha256.Size]byte
	persons uint64
}

func cursorKey(epoch string) []byte { return append([]byte{'k'}, epoch...) }

func (c keyCursor) value() []byte {
	v := binary.BigEndian.AppendUint64([]byte{keyring.Version}, c.seq)
	return binary.BigEndian.AppendUint64(append(v, c.hash[:]...), c.persons)
}

// readKeyCursor gives nothing where nothing was read, or only by a program that
// read older versions of keys.
func readKeyCursor(epoch string, v []byte) (keyCursor, error) {
	c := keyCursor{epoch: epoch}
	if len(v) == 0 || v[0] != keyring.Version {
		return c, nil
	}
	if len(v) != 1+8+len(c.hash)+8 {
		return c, errMark
	}
	c.seq = binary.BigEndian.Uint64(v[1:])
	copy(c.hash[:], v[9:])
	c.persons = binary.BigEndian.Uint64(v[9+len(c.hash):])
	return c, nil
}

// what an exchange has of a person.
type what uint8

const (
	hasKey   what = iota + 1 // the key that is here, or one that is known
	hasOrder                 // the order to forget the person
	unopened                 // something that no key here opens
	unproven                 // a key of a person of whom nothing is recorded here
	refused                  // something that is no good
)

// there is an exchange's message of a person.
type there struct {
	what  what
	seq   uint64
	epoch uint32
	tried uint8
}

// personPrefix is where an epoch's persons stand. The zero ends the name.
func personPrefix(epoch string) []byte { return append(append([]byte{'p'}, epoch...), 0) }

func personMark(epoch string, p events.PersonID) []byte { return append(personPrefix(epoch), p[:]...) }

func (t there) value() []byte {
	v := binary.BigEndian.AppendUint64([]byte{byte(t.what)}, t.seq)
	return append(binary.BigEndian.AppendUint32(v, t.epoch), t.tried)
}

// readThere gives zero where there is no mark.
func readThere(v []byte) (t there, err error) {
	if len(v) == 0 {
		return t, nil
	}
	if len(v) != 1+8+4+1 {
		return t, errMark
	}
	return there{what(v[0]), binary.BigEndian.Uint64(v[1:]), binary.BigEndian.Uint32(v[9:]), v[13]}, nil
}
