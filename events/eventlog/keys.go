package eventlog

import (
	"encoding/binary"
	"fmt"
	"math"

	"oldhand/events"
)

// The first byte of a key says its family. They are part of the store's
// format: StoreFormat goes up when one changes.
const (
	famBranch  = 'b'
	famCut     = 'c'
	famEvent   = 'e'
	famFeed    = 'f'
	famKeyring = 'k'
	famMeta    = 'n'
	famSigned  = 's'
	famSubject = 'u'
	famView    = 'v'
	famMark    = 'x'
)

// StoreFormat is the highest version of the key table in the package comment that
// this program reads. A store of a higher one is refused: an older program would
// not see what it holds. One that an earlier program made keeps its version as long
// as what it holds lets it, and its events stand in that version's form.
const StoreFormat = formatSparse

// The versions.
const (
	formatFirst    = 1
	formatBranches = 2 // it has a feed of two branches
	formatSparse   = 3 // only every sixteenth event keeps its hash (groups.go); it may have branches
)

// The rows of the meta family.
var (
	metaFormat  = []byte("nformat")
	metaShop    = []byte("nshop")
	metaClock   = []byte("nclock")
	metaOwn     = []byte("nown")
	metaViews   = []byte("nviews")
	metaRetired = []byte("nretired") // 1 where this bench was retired
	metaScour   = []byte("nscour")   // there where a key was dropped that files may still hold
	metaLost    = []byte("nlost")    // the run and number of an event of this bench's own that is gone
)

// feedNo numbers a feed inside one store, to keep keys short. It means nothing
// outside and never leaves the store.
type feedNo uint32

// noFeed is the number of no feed.
const noFeed feedNo = math.MaxUint32

func eventKey(n feedNo, seq uint64) []byte {
	k := make([]byte, 0, 13)
	k = append(k, famEvent)
	k = binary.BigEndian.AppendUint32(k, uint32(n))
	return binary.BigEndian.AppendUint64(k, seq)
}

// readEventKey reads an event's key: a row of another length is of nobody's making
// here, and must not stop whoever walks past it.
func readEventKey(k []byte) (n feedNo, seq uint64, err error) {
	if len(k) != 1+4+8 {
		return 0, 0, fmt.Errorf("event key of %d bytes: %w", len(k), ErrDamaged)
	}
	return feedNo(binary.BigEndian.Uint32(k[1:])), binary.BigEndian.Uint64(k[5:]), nil
}

func feedKey(fam byte, n feedNo) []byte {
	return binary.BigEndian.AppendUint32([]byte{fam}, uint32(n))
}

func subjectKey(s [16]byte) []byte { return append([]byte{famSubject}, s[:]...) }

func keyringKey(p events.PersonID) []byte { return append([]byte{famKeyring}, p[:]...) }

func viewKey(k []byte) []byte { return append([]byte{famView}, k...) }

func markKey(k []byte) []byte { return append([]byte{famMark}, k...) }

// ref says where an event stands in this store.
type ref struct {
	feed feedNo
	seq  uint64
}

// appendRef and readRefs keep the list of a subject's events: each as two
// varints. The store joins the pieces of a list by putting them end to end, so
// adding one reads nothing.
func appendRef(b []byte, r ref) []byte {
	return binary.AppendUvarint(binary.AppendUvarint(b, uint64(r.feed)), r.seq)
}

func readRefs(b []byte) ([]ref, error) {
	refs := make([]ref, 0, len(b)/2)
	for len(b) > 0 {
		feed, n := binary.Uvarint(b)
		if n <= 0 {
			return nil, fmt.Errorf("list of a subject's events: %w", ErrDamaged)
		}
		seq, m := binary.Uvarint(b[n:])
		if m <= 0 {
			return nil, fmt.Errorf("list of a subject's events: %w", ErrDamaged)
		}
		refs = append(refs, ref{feedNo(feed), seq})
		b = b[n+m:]
	}
	return refs, nil
}

// feedValue is a feed's name and how far it goes here.
func feedValue(h events.Head) []byte {
	v := append(append([]byte(nil), h.Feed.Bench[:]...), h.Feed.Incarnation[:]...)
	return append(binary.BigEndian.AppendUint64(v, h.Seq), h.Hash[:]...)
}

func readFeedValue(v []byte) (h events.Head, err error) {
	if len(v) != 48+8+32 {
		return h, fmt.Errorf("feed row of %d bytes: %w", len(v), ErrDamaged)
	}
	copy(h.Feed.Bench[:], v)
	copy(h.Feed.Incarnation[:], v[32:])
	h.Seq = binary.BigEndian.Uint64(v[48:])
	copy(h.Hash[:], v[56:])
	return h, nil
}

// subjectsOf says under which subjects an event is listed: what it is about,
// for a join or a parting the other unit too, and for an event of the shop the
// zero subject. What begins a feed is listed nowhere; the feeds name it.
func subjectsOf(e events.Event) (subjects [2][16]byte, n int) {
	if e.Kind == events.KindFeedBegun {
		return subjects, 0
	}
	subjects[0] = e.About
	if other, ok := e.OtherUnit(); ok && other != e.Unit() {
		subjects[1] = other
		return subjects, 2
	}
	return subjects, 1
}
