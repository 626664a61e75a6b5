package eventlog

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"oldhand/events"
)

// Every row of the store is read from a disk that may have given back other bytes
// (F04). Each is read here by its family, and what reads has one form, so that
// nothing in it is silently left out.
func FuzzReadRow(f *testing.F) {
	head := events.Head{Feed: events.FeedID{Bench: events.BenchID{1}, Incarnation: events.Incarnation{2}}, Seq: 3, Hash: events.Hash{4}}
	signed := events.SignedHead{Head: head, Signature: [64]byte{5}}
	f.Add(byte(famEvent), append(head.Hash[:], 0x88))
	f.Add(byte(famFeed), feedValue(head))
	f.Add(byte(famSigned), standingHead{SignedHead: signed, before: 1, bytes: 900}.value())
	f.Add(byte(famSigned+1), signedValue(signed))
	f.Add(byte(famBranch), base{of: 7, head: events.Head{Seq: 2, Hash: head.Hash}, root: events.Hash{9}}.value())
	f.Add(byte(famKeyring), bytes.Repeat([]byte{1}, 32))
	f.Add(byte(famKeyring), bytes.Repeat([]byte{2}, 64))
	f.Add(byte(famKeyring), make([]byte, 32))
	f.Add(byte(famMeta), Witness{Boot: [16]byte{1}, Incarnation: events.Incarnation{2}, Seq: 3, Hash: events.Hash{4}}.bytes())
	f.Fuzz(func(t *testing.T, family byte, v []byte) {
		again, err := rewritten(family, v)
		if err != nil {
			if !errors.Is(err, ErrDamaged) {
				t.Fatalf("row %c %x: an error of no kind: %v", family, v, err)
			}
			return
		}
		if again != nil && !bytes.Equal(again, v) {
			t.Fatalf("row %c %x is written again as %x", family, v, again)
		}
	})
}

// rewritten reads a row's value and writes what was read; nil for a family that has
// no form of its own.
func rewritten(family byte, v []byte) ([]byte, error) {
	switch family {
	case famEvent:
		h, record, err := sparse.split(16, v)
		if err != nil {
			return nil, err
		}
		_, alone, err := sparse.split(17, record)
		return sparse.appendValue(sparse.appendValue(nil, 16, h, nil), 17, h, alone), err
	case famFeed:
		h, err := readFeedValue(v)
		return feedValue(h), err
	case famBranch:
		b, err := readBase(v)
		return b.value(), err
	case famSigned:
		h, err := lastSigned(func([]byte) ([]byte, error) { return append([]byte{}, v...), nil }, 0)
		return h.value(), err
	case famSigned + 1:
		h, err := readSigned(v)
		return signedValue(h), err
	case famKeyring:
		e, err := keyEntry(events.PersonID{1}, append([]byte{}, v...), nil)
		if e.Forgotten() {
			return e.Order[:], err
		}
		return e.Key[:], err
	case famMeta: // the witness has no row, and a file of its own
		w, ok := readWitness(v)
		if !ok {
			return nil, ErrDamaged
		}
		return w.bytes(), nil
	}
	return nil, nil
}

// The list of a subject's events is put together by the store, piece behind piece.
// What reads has at most one event for every two bytes, and joined to itself it
// is the same list twice.
func FuzzReadRefs(f *testing.F) {
	f.Add(appendRef(appendRef(nil, ref{0, 1}), ref{3, 1 << 40}))
	f.Add([]byte{0x80})
	f.Add([]byte{1, 0x80, 0x80})
	f.Add(append(bytes.Repeat([]byte{0xff}, 9), 1, 1))
	f.Fuzz(func(t *testing.T, b []byte) {
		refs, err := readRefs(b)
		if err != nil {
			if !errors.Is(err, ErrDamaged) || refs != nil {
				t.Fatalf("%x: %v with %v", b, err, refs)
			}
			return
		}
		var again []byte
		for _, r := range refs {
			again = appendRef(again, r)
		}
		if len(refs) > len(b)/2 || len(again) > len(b) {
			t.Fatalf("%x: %d events, written as %x", b, len(refs), again)
		}
		twice, err := readRefs(append(bytes.Clone(b), b...))
		if err != nil || !slices.Equal(twice, append(slices.Clone(refs), refs...)) {
			t.Fatalf("%x: twice it reads as %v (%v)", b, twice, err)
		}
		back, err := readRefs(again)
		if err != nil || !slices.Equal(back, refs) {
			t.Fatalf("%x reads as %v and then as %v", b, refs, back)
		}
	})
}
