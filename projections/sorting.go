package projections

import (
	"bufio"
	"bytes"
	"cmp"
	"container/heap"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"oldhand/events/eventlog"
)

// Scratch gives files to put aside what does not fit into memory: each is written
// from its beginning, then read from it. Several goroutines ask for some.
type Scratch func() (eventlog.ScratchFile, error)

// TempScratch gives files in the machine's folder for such.
func TempScratch() (eventlog.ScratchFile, error) {
	f, err := os.CreateTemp("", "oldhand-sorting-*")
	if err != nil {
		return nil, err
	}
	return tempFile{f}, nil
}

type tempFile struct{ *os.File }

func (f tempFile) Close() error { return errors.Join(f.File.Close(), os.Remove(f.Name())) }

// sorter puts pairs in the order of their keys, those of one key in the order
// in which they came. What is more than a run it sorts and puts aside, and the
// runs are read together in the end: memory does not grow with the number of
// pairs.
type sorter struct {
	scratch Scratch
	run     int // bytes of pairs that are kept in memory
	now     sorted
	spare   chan sorted // the memory of a run that was put aside
	aside   []*spilled
	busy    chan error // tells when the run that is being put aside is
}

// pair is where a key and its value stand in the arena: in which block, and
// where there. First is the key's first bytes, which mostly settle which of two
// comes first.
type pair struct {
	first     uint64
	block, at uint32
	key, all  uint32
}

// sorted is a run: what its pairs point to, in blocks that never move.
type sorted struct {
	blocks [][]byte
	used   int // blocks that have something in them
	size   int // bytes of keys and values
	pairs  []pair
	beside []pair // as many, while they are sorted
}

// sortBlock is the size of a block. A larger value has one of its own.
const sortBlock = 1 << 20

// room is where the next size bytes go.
func (r *sorted) room(size int) (block int, b []byte) {
	if n := r.used; n > 0 && cap(r.blocks[n-1])-len(r.blocks[n-1]) >= size {
		return n - 1, r.blocks[n-1]
	}
	if r.used == len(r.blocks) {
		r.blocks = append(r.blocks, make([]byte, 0, max(sortBlock, size)))
	}
	r.used++
	if b := r.blocks[r.used-1]; cap(b) < size {
		r.blocks[r.used-1] = make([]byte, 0, size)
	}
	return r.used - 1, r.blocks[r.used-1][:0]
}

func (r *sorted) clear() {
	for i := range r.blocks {
		r.blocks[i] = r.blocks[i][:0]
	}
	r.used, r.size, r.pairs = 0, 0, r.pairs[:0]
}

// perRun is how many bytes of pairs a sorter keeps in memory, twice where it
// puts one run aside while the next comes.
const perRun = 8 << 20

func newSorter(scratch Scratch, run int) *sorter { return &sorter{scratch: scratch, run: run} }

// add takes a pair: a key, and a value in pieces. It keeps no memory of theirs.
func (s *sorter) add(key []byte, value ...[]byte) error {
	size := len(key)
	for _, v := range value {
		size += len(v)
	}
	if s.now.size > 0 && s.now.size+size > s.run {
		if err := s.putAside(); err != nil {
			return err
		}
	}
	block, b := s.now.room(size)
	p := pair{firstOf(key), uint32(block), uint32(len(b)), uint32(len(key)), uint32(size)}
	b = append(b, key...)
	for _, v := range value {
		b = append(b, v...)
	}
	s.now.blocks[block] = b
	s.now.size += size
	if len(s.now.pairs) == cap(s.now.pairs) {
		s.now.pairs = slices.Grow(s.now.pairs, max(1024, len(s.now.pairs)/2)) // fewer copies than appending makes
	}
	s.now.pairs = append(s.now.pairs, p)
	return nil
}

// addAll takes keys without values.
func (s *sorter) addAll(keys *rowList) (err error) {
	keys.each(func(k []byte) {
		if err == nil {
			err = s.add(k)
		}
	})
	return err
}

func firstOf(key []byte) uint64 {
	var b [8]byte
	copy(b[:], key)
	return binary.BigEndian.Uint64(b[:])
}

func (r *sorted) both(p pair) []byte  { return r.blocks[p.block][p.at : p.at+p.all : p.at+p.all] }
func (r *sorted) key(p pair) []byte   { return r.both(p)[:p.key:p.key] }
func (r *sorted) value(p pair) []byte { return r.both(p)[p.key:] }

// sort puts the pairs in order, those of one key as they came.
func (r *sorted) sort() {
	r.pairs, r.beside = byFirst(r.pairs, r.beside)
	for from := 0; from < len(r.pairs); {
		to := from + 1
		for to < len(r.pairs) && r.pairs[to].first == r.pairs[from].first {
			to++
		}
		r.sortLike(r.pairs[from:to])
		from = to
	}
}

// sortLike is sort for pairs whose keys begin alike. Nearly always they are the events
// of one unit.
func (r *sorted) sortLike(pairs []pair) {
	order := func(a, b pair) int { return bytes.Compare(r.key(a), r.key(b)) }
	if !slices.IsSortedFunc(pairs, order) {
		slices.SortStableFunc(pairs, order)
	}
}

// putAside sorts what is in memory and writes it to a file, while the next run
// comes.
func (s *sorter) putAside() error {
	if err := s.settled(); err != nil {
		return err
	}
	f, err := s.scratch()
	if err != nil {
		return fmt.Errorf("put events aside to sort them: %w", err)
	}
	full := s.now
	s.now = sorted{}
	if s.spare != nil {
		s.now = <-s.spare
		s.now.clear()
	}
	s.spare, s.busy = make(chan sorted, 1), make(chan error, 1)
	to := &spilled{file: f}
	s.aside = append(s.aside, to)
	go func(spare chan<- sorted, done chan<- error) {
		full.sort()
		err := to.write(&full)
		spare <- full
		done <- err
	}(s.spare, s.busy)
	return nil
}

// settled waits until nothing is being put aside.
func (s *sorter) settled() error {
	if s.busy == nil {
		return nil
	}
	err := <-s.busy
	s.busy = nil
	return err
}

// close takes away what was put aside.
func (s *sorter) close() error {
	err := s.settled()
	for _, f := range s.aside {
		err = errors.Join(err, f.file.Close())
	}
	s.now, s.aside, s.spare = sorted{}, nil, nil
	return err
}

// each calls fn with all pairs in order. Key and value are good until fn
// returns.
func (s *sorter) each(fn func(key, value []byte) error) error { return eachOf([]*sorter{s}, fn) }

// eachOf calls fn with all pairs of several sorters in order; those of one key in the
// order of the sorters.
func eachOf(sorters []*sorter, fn func(key, value []byte) error) error {
	var m merging
	add := func(next func() ([]byte, []byte, error)) { m = append(m, &cursor{nth: len(m), next: next}) }
	aside := 0
	for _, s := range sorters {
		if err := s.settled(); err != nil {
			return err
		}
		aside += len(s.aside)
	}
	block := min(spillBlock, max(leastBlock, allBlocks/max(1, aside)))
	for _, s := range sorters {
		s.now.sort()
		for _, f := range s.aside {
			add(f.reading(block))
		}
		add(s.now.reading())
	}
	return m.each(fn)
}

func closeAll(sorters []*sorter) (err error) {
	for _, s := range sorters {
		err = errors.Join(err, s.close())
	}
	return err
}

// cursor is where the reading of a run stands.
type cursor struct {
	nth        int
	next       func() (key, value []byte, err error) // io.EOF after the last
	key, value []byte
}

// merging are the runs that are not read to their end, the one with the first
// key on top.
type merging []*cursor

func (m merging) Len() int      { return len(m) }
func (m merging) Swap(i, j int) { m[i], m[j] = m[j], m[i] }
func (m merging) Less(i, j int) bool {
	return cmp.Or(bytes.Compare(m[i].key, m[j].key), cmp.Compare(m[i].nth, m[j].nth)) < 0
}
func (m *merging) Push(any) {} // none is ever added
func (m *merging) Pop() any { *m = (*m)[:len(*m)-1]; return nil }

func (m merging) each(fn func(key, value []byte) error) (err error) {
	for i := 0; i < len(m); {
		c := m[i]
		if c.key, c.value, err = c.next(); err == io.EOF {
			m = slices.Delete(m, i, i+1)
			continue
		} else if err != nil {
			return err
		}
		i++
	}
	heap.Init(&m)
	for len(m) > 0 {
		c := m[0]
		if err := fn(c.key, c.value); err != nil {
			return err
		}
		if c.key, c.value, err = c.next(); err == io.EOF {
			heap.Pop(&m)
			continue
		} else if err != nil {
			return err
		}
		heap.Fix(&m, 0)
	}
	return nil
}

func (r *sorted) reading() func() ([]byte, []byte, error) {
	i := 0
	return func() ([]byte, []byte, error) {
		if i == len(r.pairs) {
			return nil, nil, io.EOF
		}
		p := r.pairs[i]
		i++
		return r.key(p), r.value(p), nil
	}
}

// spilled is a run in a file: each pair as the lengths of its key and of both,
// and their bytes.
type spilled struct {
	file eventlog.ScratchFile
	size int64
}

// How much of a run is written or read at once. Of hundreds of runs, as ten million
// events have, little is read of each, so that all together take no more memory.
const (
	spillBlock = 128 << 10
	leastBlock = 16 << 10
	allBlocks  = 4 << 20
)

func (f *spilled) write(r *sorted) error {
	w := bufio.NewWriterSize(f.file, spillBlock)
	var head []byte
	for _, p := range r.pairs {
		head = binary.AppendUvarint(binary.AppendUvarint(head[:0], uint64(p.key)), uint64(p.all))
		f.size += int64(len(head)) + int64(p.all)
		_, err := w.Write(head)
		if err == nil {
			_, err = w.Write(r.both(p))
		}
		if err != nil {
			return fmt.Errorf("put events aside to sort them: %w", err)
		}
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("put events aside to sort them: %w", err)
	}
	return nil
}

// reading gives the pairs in memory that is good until the next is asked for.
func (f *spilled) reading(block int) func() ([]byte, []byte, error) {
	in := bufio.NewReaderSize(io.NewSectionReader(f.file, 0, f.size), block)
	var room []byte
	return func() ([]byte, []byte, error) {
		key, err := binary.ReadUvarint(in)
		if err != nil {
			return nil, nil, err // io.EOF at the end
		}
		all, err := binary.ReadUvarint(in)
		if err == nil {
			if uint64(cap(room)) < all {
				room = make([]byte, all)
			}
			room = room[:all]
			_, err = io.ReadFull(in, room)
		}
		if err != nil || key > all {
			return nil, nil, fmt.Errorf("read what was put aside to be sorted: %w", errors.Join(err, errView))
		}
		return room[:key:key], room[key:], nil
	}
}
