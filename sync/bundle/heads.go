package bundle

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

const (
	headsMagic    = "oldhhds"
	headsVersion  = 1
	headsClear    = len(headsMagic) + 1 + tagSize + 4 + 4 + 4
	signatureSize = len(events.SignedHead{}.Signature)
	hadSize       = 32 + 16 + 8 + 32 + 1

	// headsAPart is how many heads a part has: as many as surely fit.
	headsAPart = 3000

	// maxParts bounds the list: some decades of five benches that each begin
	// two feeds a day.
	maxParts = 64
)

// Had is how far a bundle's writer had a feed.
type Had struct {
	events.Head
	Signature [signatureSize]byte // of the feed's bench; zeros where the writer had none
}

// Signed is the head with its bench's signature, where there is one. What Read
// gave was verified.
func (h Had) Signed() (events.SignedHead, bool) {
	return events.SignedHead{Head: h.Head, Signature: h.Signature}, h.Signature != [signatureSize]byte{}
}

func (h Had) check(shop events.ShopID) error {
	if h.Seq == 0 || h.Hash == (events.Hash{}) {
		return fmt.Errorf("no head of feed %s: %w", h.Feed.Short(), ErrDamaged)
	}
	if s, ok := h.Signed(); ok {
		return s.Verify(shop)
	}
	return nil
}

func (h Had) append(b []byte) []byte {
	b = append(append(b, h.Feed.Bench[:]...), h.Feed.Incarnation[:]...)
	b = append(binary.BigEndian.AppendUint64(b, h.Seq), h.Hash[:]...)
	if _, ok := h.Signed(); !ok {
		return append(b, 0)
	}
	return append(append(b, 1), h.Signature[:]...)
}

// readHad reads one head off the front of b.
func readHad(b []byte) (h Had, rest []byte, err error) {
	if len(b) < hadSize {
		return h, nil, fmt.Errorf("head cut short: %w", ErrDamaged)
	}
	b = b[copy(h.Feed.Bench[:], b):]
	b = b[copy(h.Feed.Incarnation[:], b):]
	h.Seq, b = binary.BigEndian.Uint64(b), b[8:]
	b = b[copy(h.Hash[:], b):]
	signed := b[0]
	b = b[1:]
	if signed == 1 {
		if len(b) < signatureSize {
			return h, nil, fmt.Errorf("signature cut short: %w", ErrDamaged)
		}
		b = b[copy(h.Signature[:], b):]
	}
	if _, ok := h.Signed(); signed > 1 || ok != (signed == 1) {
		return h, nil, fmt.Errorf("signature marked %d: %w", signed, ErrDamaged)
	}
	return h, b, nil
}

func sorted(had []Had) []Had {
	had = slices.Clone(had)
	slices.SortFunc(had, func(a, b Had) int { return a.Feed.Compare(b.Feed) })
	return had
}

// checkOrder wants feeds that rise, so that a list has one form.
func checkOrder(had []Had) error {
	for i := 1; i < len(had); i++ {
		if had[i-1].Feed.Compare(had[i].Feed) >= 0 {
			return fmt.Errorf("feed %s after %s: %w", had[i].Feed.Short(), had[i-1].Feed.Short(), ErrDamaged)
		}
	}
	return nil
}

// sealHeads makes the parts of a list, at least one.
func sealHeads(o Options) (parts [][]byte, err error) {
	had := sorted(o.Had)
	err = checkOrder(had)
	for _, h := range had {
		err = errors.Join(err, h.check(o.Shop))
	}
	if err != nil {
		return nil, err
	}
	n := max(1, (len(had)+headsAPart-1)/headsAPart)
	if n > maxParts {
		return nil, fmt.Errorf("%d heads, at most %d: %w", len(had), maxParts*headsAPart, seal.ErrTooLarge)
	}
	for i := range n {
		mine := had[min(len(had), i*headsAPart):min(len(had), (i+1)*headsAPart)]
		part, err := sealPart(o, mine, i, n)
		if err != nil {
			return nil, err
		}
		parts = append(parts, part)
	}
	return parts, nil
}

func sealPart(o Options, had []Had, part, parts int) ([]byte, error) {
	plain := binary.BigEndian.AppendUint32(nil, uint32(len(had)))
	for _, h := range had {
		plain = h.append(plain)
	}
	return seal.Seal(o.Key, clearOfPart(o.Shop, o.Epoch, part, parts), o.Shop[:], plain, o.Random)
}

func clearOfPart(shop events.ShopID, epoch uint32, part, parts int) []byte {
	tag := segment.TagOf(shop)
	b := append(append([]byte(headsMagic), headsVersion), tag[:]...)
	b = binary.BigEndian.AppendUint32(b, epoch)
	b = binary.BigEndian.AppendUint32(b, uint32(part))
	return binary.BigEndian.AppendUint32(b, uint32(parts))
}

// headList gathers the parts of a list of heads as they come. A part that can't
// be read leaves the others as they are.
type headList struct {
	shop  events.ShopID
	keys  Keys
	had   []Had
	read  uint32 // parts read
	next  uint32 // the part that must come at the earliest
	parts uint32 // as many there are, once a part was seen
	err   error  // of the first part that could not be read
}

func (l *headList) take(part []byte) {
	if l.keys == nil {
		return
	}
	had, err := l.open(part)
	if err != nil {
		if l.err == nil {
			l.err = err
		}
		return
	}
	l.had = append(l.had, had...)
	l.read++
}

// missing says what the list lacks. Nobody who gave no keys wanted one.
func (l *headList) missing() error {
	switch {
	case l.keys == nil:
		return nil
	case l.err != nil:
		return fmt.Errorf("list of heads: %w", l.err)
	case l.parts == 0 || l.read < l.parts:
		return fmt.Errorf("list of heads: %d of %d parts: %w", l.read, max(1, l.parts), ErrDamaged)
	}
	return nil
}

func (l *headList) open(part []byte) ([]Had, error) {
	epoch, err := l.place(part)
	if err != nil {
		return nil, err
	}
	key, ok := l.keys(epoch)
	if !ok {
		return nil, fmt.Errorf("epoch %d: %w", epoch, segment.ErrNoKey)
	}
	plain, err := seal.Open(key, part, headsClear, l.shop[:])
	if err != nil {
		return nil, err
	}
	had, err := readHeads(plain)
	if err != nil {
		return nil, err
	}
	return had, l.check(had)
}

// place reads what stands in clear of a part: which it is, and the epoch of its
// key.
func (l *headList) place(b []byte) (epoch uint32, err error) {
	if len(b) < headsClear || string(b[:len(headsMagic)]) != headsMagic {
		return 0, fmt.Errorf("no part of one: %w", ErrDamaged)
	}
	if v := b[len(headsMagic)]; v != headsVersion {
		return 0, fmt.Errorf("version %d, this program reads %d: %w", v, headsVersion, ErrNewer)
	}
	b = b[len(headsMagic)+1:]
	if segment.Tag(b) != segment.TagOf(l.shop) {
		return 0, ErrOtherShop
	}
	epoch, b = binary.BigEndian.Uint32(b[tagSize:]), b[tagSize+4:]
	part, parts := binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:])
	if part >= parts || parts > maxParts || part < l.next || l.parts != 0 && parts != l.parts {
		return 0, fmt.Errorf("part %d of %d after %d of %d: %w", part, parts, l.next, l.parts, ErrDamaged)
	}
	l.next, l.parts = part+1, parts
	return epoch, nil
}

// check holds the heads of a part against the ones before it and against their
// benches' keys.
func (l *headList) check(had []Had) error {
	both := had
	if n := len(l.had); n > 0 {
		both = append(l.had[n-1:n:n], had...)
	}
	err := checkOrder(both)
	for _, h := range had {
		if err == nil {
			err = h.check(l.shop)
		}
	}
	return err
}

func readHeads(b []byte) ([]Had, error) {
	if len(b) < 4 {
		return nil, fmt.Errorf("no number of heads: %w", ErrDamaged)
	}
	n := binary.BigEndian.Uint32(b)
	b = b[4:]
	if n > headsAPart {
		return nil, fmt.Errorf("%d heads in a part, at most %d: %w", n, headsAPart, seal.ErrTooLarge)
	}
	had := make([]Had, 0, n)
	for range n {
		h, rest, err := readHad(b)
		if err != nil {
			return nil, err
		}
		had, b = append(had, h), rest
	}
	if len(b) > 0 {
		return nil, fmt.Errorf("%d bytes behind the last head: %w", len(b), ErrDamaged)
	}
	return had, nil
}
