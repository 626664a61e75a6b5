package eventlog

import (
	"encoding/binary"
	"fmt"
	"io"
)

// Counters are of the folder, not of the log: the numbers of tags are made
// from one. A folder that was put back to an older copy must not give a number
// again that its other life gave, so the first action that writes or counts
// there moves every counter, those not begun too, by some hundreds.

var (
	counterRows = []byte("nnext/")
	counterEnd  = []byte("nnext0")
	metaFloor   = []byte("nfloor") // where a counter that has no row begins
)

// Next gives the next number of a counter of this folder, from 1. Where the
// folder may be an old copy of itself, numbers that its other life may have
// given are jumped over.
func (tx *Tx) Next(counter string) (uint32, error) {
	if tx.layer.doubtful {
		if err := tx.jumpCounters(); err != nil {
			return 0, err
		}
	}
	k := append(counterRows[:len(counterRows):len(counterRows)], counter...)
	n, ok, err := tx.number(k)
	if err == nil && !ok {
		n, _, err = tx.number(metaFloor)
	}
	if err != nil {
		return 0, fmt.Errorf("count %s: %w", counter, err)
	}
	tx.setNumber(k, n+1)
	return n + 1, nil
}

// jumpCounters moves every counter on by the same random number.
func (tx *Tx) jumpCounters() error {
	var r [2]byte
	if _, err := io.ReadFull(tx.log.opt.Random, r[:]); err != nil {
		return fmt.Errorf("draw a number: %w", err)
	}
	by := 100 + uint32(binary.BigEndian.Uint16(r[:]))%900
	rows := [][]byte{metaFloor}
	for _, c := range tx.overlay(string(counterRows), string(counterEnd)) {
		rows = append(rows, []byte(c.k))
	}
	err := scan(tx.log.db, counterRows, counterEnd, func(k, _ []byte) (bool, error) {
		rows = append(rows, append([]byte(nil), k...))
		return true, nil
	})
	if err != nil {
		return err
	}
	moved := map[string]bool{}
	for _, k := range rows {
		if moved[string(k)] {
			continue
		}
		moved[string(k)] = true
		n, _, err := tx.number(k)
		if err != nil {
			return err
		}
		tx.setNumber(k, n+by)
	}
	tx.layer.doubtful = false
	return nil
}

func (tx *Tx) number(k []byte) (n uint32, ok bool, err error) {
	v, err := tx.raw(k)
	if err != nil || v == nil {
		return 0, false, err
	}
	if len(v) != 4 {
		return 0, false, fmt.Errorf("counter of %d bytes: %w", len(v), ErrDamaged)
	}
	return binary.BigEndian.Uint32(v), true, nil
}

func (tx *Tx) setNumber(k []byte, n uint32) {
	tx.layer.put(k, binary.BigEndian.AppendUint32(nil, n))
}

// NextFree gives the next number of a counter that is not taken. Numbers can
// be taken without the counter knowing, by this bench's other life or by what
// was read in from elsewhere; since then they come in long runs, it looks
// further ahead each time rather than at every one.
func (tx *Tx) NextFree(counter string, taken func(uint32) (bool, error)) (uint32, error) {
	n, err := tx.Next(counter)
	for step := uint32(1); err == nil; step *= 2 {
		var busy bool
		if busy, err = taken(n); err == nil && !busy {
			tx.setNumber(append(counterRows[:len(counterRows):len(counterRows)], counter...), n)
			return n, nil
		}
		n += step
	}
	return 0, err
}
