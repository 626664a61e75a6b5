package projections

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
)

// A question whose answer goes through many rows has them in blocks: its head
// function says how many bytes of a row are in a key, and what is behind them, its
// tail, stands in the key's value, with the tails of all rows with the same head. A
// key read costs more than ten tails. Heads are made so that none begins with
// another, or rows would not come in order; and what a question reads by never ends
// in a tail.
//
// A block is written whole when one of its counts changes, so heads are chosen that
// leave it at a few thousand bytes in a shop of any size: by the day, by the value,
// by the word, but not by the unit.

// headFunc says how many of a row's bytes are in its key.
type headFunc func(row []byte) int

// heads are those of all questions, by their numbers in keys.
var heads = func() (list [256]headFunc) {
	for _, q := range tallied {
		list[q.ID] = q.head
	}
	return list
}()

// headIn is the length of the key that a row stands under, its question's number
// and the row given as a key would have them; false where the row has one for
// itself.
func headIn(k []byte) (n int, inBlock bool) {
	head := heads[k[1]]
	if head == nil {
		return len(k), false
	}
	return 2 + head(k[2:]), true
}

// appendCount adds a row's tail and count to a block.
func appendCount(block, tail []byte, n uint64) []byte {
	block = binary.AppendUvarint(block, uint64(len(tail)))
	block = append(block, tail...)
	return binary.AppendUvarint(block, n)
}

// nextCount takes the first row's tail and count off a block. No row has a count of
// nothing: it would not be there.
func nextCount(block []byte) (tail []byte, n uint64, rest []byte, err error) {
	length, block := shortUvarint(block)
	if block == nil || length > uint64(len(block)) {
		return nil, 0, nil, errView
	}
	tail = block[:length]
	if n, rest = shortUvarint(block[length:]); rest == nil || n == 0 {
		return nil, 0, nil, errView
	}
	return tail, n, rest, nil
}

// shortUvarint takes a number off that mostly has one byte; nothing is left where
// there is none.
func shortUvarint(b []byte) (n uint64, rest []byte) {
	if len(b) > 0 && b[0] < 0x80 {
		return uint64(b[0]), b[1:]
	}
	return longUvarint(b)
}

func longUvarint(b []byte) (n uint64, rest []byte) {
	n, size := binary.Uvarint(b)
	if size <= 0 {
		return 0, nil
	}
	return n, b[size:]
}

// eachCount calls fn with the rows of a block, put together in room.
func eachCount(room, head, block []byte, fn func(row []byte, count int) (bool, error)) (used []byte, more bool, err error) {
	room = append(room[:0], head...)
	for len(block) > 0 {
		var tail []byte
		var n uint64
		if tail, n, block, err = nextCount(block); err != nil {
			return room, false, err
		}
		room = append(room[:len(head)], tail...)
		if more, err := fn(room, int(n)); err != nil || !more {
			return room, false, err
		}
	}
	return room, true, nil
}

// eachBlock calls fn with the blocks of a question's rows that begin with a prefix, for
// whoever takes many rows apart at once. A tally that has no blocks gives each row as
// one.
func eachBlock(t Tally, head headFunc, prefix []byte, fn func(head, block []byte) error) error {
	return eachBlockIn(t, head, prefix, after(prefix), fn)
}

// eachBlockIn is eachBlock for heads from lo to below hi, both of one kind of row.
func eachBlockIn(t Tally, head headFunc, lo, hi []byte, fn func(head, block []byte) error) error {
	if kept, ok := t.(keptTally); ok {
		of := []byte{'t', kept.id}
		return kept.r.Scan(slices.Concat(of, lo), slices.Concat(of, hi), func(k, v []byte) (bool, error) { return true, fn(k[2:], v) })
	}
	var block []byte
	return t.Each(lo[:1], func(row []byte, n int) (bool, error) {
		at := head(row)
		if bytes.Compare(row[:at], lo) < 0 || bytes.Compare(row[:at], hi) >= 0 {
			return true, nil
		}
		block = appendCount(block[:0], row[at:], uint64(n))
		return true, fn(row[:at], block)
	})
}

// countTogether changes the counts of rows in one block, whose keys, put as if each
// had its own, are in order, with the first so many bytes the same.
func countTogether(s Store, keys []string, head int, by map[string]int64) error {
	k := []byte(keys[0][:head])
	block, err := s.Get(k)
	if err != nil {
		return err
	}
	var next []byte
	put := func(tail []byte, n uint64, by int64) error {
		total := int64(n) + by
		if total < 0 {
			return fmt.Errorf("a tally would fall below nothing: %w", errView)
		}
		if total > 0 {
			next = appendCount(next, tail, uint64(total))
		}
		return nil
	}
	for len(block) > 0 || len(keys) > 0 {
		var tail []byte
		var n uint64
		rest := block
		if len(block) > 0 {
			if tail, n, rest, err = nextCount(block); err != nil {
				return err
			}
		}
		switch {
		case len(keys) == 0 || len(block) > 0 && string(tail) < keys[0][head:]:
			err, block = put(tail, n, 0), rest
		case len(block) > 0 && string(tail) == keys[0][head:]:
			err, block, keys = put(tail, n, by[keys[0]]), rest, keys[1:]
		default:
			err, keys = put([]byte(keys[0][head:]), 0, by[keys[0]]), keys[1:]
		}
		if err != nil {
			return err
		}
	}
	if len(next) == 0 {
		s.Delete(k)
	} else {
		s.Put(k, next)
	}
	return nil
}
