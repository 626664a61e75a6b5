package projections

import (
	"bytes"
	"encoding/binary"
	"hash/maphash"
	"slices"
	"sync"
)

// tallyMap counts rows by the key of their tally, some three for each event of a
// rebuild, for several goroutines at once. The language's map takes half as long
// again: it reads three places of memory for each row where this one reads two.
type tallyMap struct {
	seed   maphash.Seed
	shards [tallyShards]tallyShard // by a part of the hash, so that each grows by itself
}

// tallyShards is how many rows can be counted at the same time.
const tallyShards = 32

type tallyShard struct {
	mu    sync.Mutex
	slots []tally // a power of two of them, at most three quarters full
	used  int
	keys  [][]byte // blocks of keys, which never move
}

// tally is one row's count; one that counts nothing is free.
type tally struct {
	hash  uint64
	key   []byte
	count uint64
}

// keyBlock is how many bytes of keys are allocated at once.
const keyBlock = 16 << 10

func newTallyMap() *tallyMap {
	t := &tallyMap{seed: maphash.MakeSeed()}
	for i := range t.shards {
		t.shards[i].slots = make([]tally, 16)
	}
	return t
}

// add counts a row n times, at least once. It keeps no memory of the key.
func (t *tallyMap) add(k []byte, n uint64) {
	hash := maphash.Bytes(t.seed, k)
	s := &t.shards[hash>>59]
	s.mu.Lock()
	defer s.mu.Unlock()
	at := s.find(k, hash)
	if at.count == 0 {
		at.key = s.keep(k)
		s.used++
	}
	at.count += n
	if s.used > len(s.slots)/4*3 {
		s.grow()
	}
}

// find is the slot of a key, or the free one where it belongs.
func (s *tallyShard) find(k []byte, hash uint64) *tally {
	for i := hash; ; i++ {
		at := &s.slots[i&uint64(len(s.slots)-1)]
		if at.count == 0 {
			at.hash = hash
			return at
		}
		if at.hash == hash && bytes.Equal(at.key, k) {
			return at
		}
	}
}

func (s *tallyShard) keep(k []byte) []byte {
	last := len(s.keys) - 1
	if last < 0 || cap(s.keys[last])-len(s.keys[last]) < len(k) {
		s.keys = append(s.keys, make([]byte, 0, max(keyBlock, len(k))))
		last++
	}
	from := len(s.keys[last])
	s.keys[last] = append(s.keys[last], k...)
	return s.keys[last][from:len(s.keys[last]):len(s.keys[last])]
}

func (s *tallyShard) grow() {
	old := s.slots
	s.slots = make([]tally, 2*len(old))
	for _, t := range old {
		if t.count > 0 {
			*s.find(t.key, t.hash) = t
		}
	}
}

// write hands on all counts in the order of their keys, when nobody counts any more.
func (t *tallyMap) write(sink Sink) error {
	used := 0
	for i := range t.shards {
		used += t.shards[i].used
	}
	all := make([]tally, 0, used)
	for i := range t.shards {
		for _, s := range t.shards[i].slots {
			if s.count > 0 {
				all = append(all, s)
			}
		}
		t.shards[i].slots = nil
	}
	slices.SortFunc(all, func(a, b tally) int { return bytes.Compare(a.key, b.key) })
	for len(all) > 0 {
		head, inBlock := headIn(all[0].key)
		key := all[0].key[:head]
		if !inBlock {
			if err := sink(key, binary.AppendUvarint(nil, all[0].count)); err != nil {
				return err
			}
			all = all[1:]
			continue
		}
		var block []byte
		for len(all) > 0 && bytes.HasPrefix(all[0].key, key) {
			block, all = appendCount(block, all[0].key[head:], all[0].count), all[1:]
		}
		if err := sink(key, block); err != nil {
			return err
		}
	}
	return nil
}
