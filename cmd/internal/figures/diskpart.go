package main

import (
	"errors"
	"path/filepath"
	"time"

	"oldhand/cmd/internal/app"
)

// Bytes an event on disk: the whole folder of a bench that took everything over,
// with events, indexes, histories, tallies and keys; as it is left, and after the
// store has put its tables in order while it was open and nobody asked for anything.
// The ballast that the program lays against a full disk is the same for every shop
// and not in it. SQLite's file is as it is when it was closed. Sizes do not hang on
// what else the machine does, so there is one round.
func diskPart(t *turn) {
	n := float64(t.count())
	lite := float64(t.sizeOf(t.factsFolder())) / n
	dir := t.copyOf(t.empty())
	s := t.openShop(dir)
	m, err := s.ReadBundle(t.bundle(), nil)
	t.check(errors.Join(err, s.Close()))
	t.tookAll(m)
	left := &figure{name: "bytes an event on disk, as left", unit: byteCount, peer: "SQLite", goal: atMost(160)}
	left.beside(float64(t.sizeOf(dir))/n, lite)
	t.tell(left)
	s = t.openShop(dir)
	t.settle(s)
	t.check(s.Close())
	settled := &figure{name: "bytes an event on disk, settled", unit: byteCount, peer: "SQLite", goal: atMost(160)}
	settled.beside(float64(t.sizeOf(dir))/n, lite)
	t.tell(settled)
}

// How long a store must be of one size to have settled, and how long it may take.
const (
	settledFor  = 3 * time.Second
	settlesIn   = 2 * time.Minute
	looksAtSize = 200 * time.Millisecond
)

// settle waits until an open store changes no more.
func (t *turn) settle(s *app.Shop) {
	size, since, begun := int64(0), time.Now(), time.Now()
	for time.Since(since) < settledFor && time.Since(begun) < settlesIn {
		time.Sleep(looksAtSize)
		if is := t.sizeOf(filepath.Join(s.Dir, "store")); is != size {
			size, since = is, time.Now()
		}
	}
}
