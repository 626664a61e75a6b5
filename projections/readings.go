package projections

import (
	"bytes"
	"hash/maphash"
	"slices"

	"oldhand/events"
)

// readings notes what an answer is made of while it is made: a reader between it
// and a view. Later it can tell whether all of that is still the same, which costs
// next to nothing where no commit wrote among it.
type readings struct {
	Numbered
	gets  []gotten
	scans []scanned
	only  bool // more was read than is noted: the answer is good for this commit only
}

// gotten is a key that was read, and a sum of its value.
type gotten struct {
	key []byte
	sum uint64
}

// scanned is a stretch that was read, as far as it was: of few pairs a sum, which
// can be made again.
type scanned struct {
	lo, hi []byte
	n      int
	whole  bool // it was read to its end
	sum    uint64
}

const (
	mostGets  = 100  // that are noted for one answer
	mostLeaps = 1000 // stretches between leaps, of all stretches that are
	fewPairs  = 4    // that are read again rather than all
)

var readSeed = maphash.MakeSeed()

func (r *readings) Get(k []byte) ([]byte, error) {
	v, err := r.Numbered.Get(k)
	if r.only = r.only || len(r.gets) == mostGets; !r.only {
		r.gets = append(r.gets, gotten{bytes.Clone(k), maphash.Bytes(readSeed, v)})
	}
	return v, err
}

func (r *readings) Events(subject [16]byte) ([]events.Event, error) {
	r.only = true
	return r.Numbered.Events(subject)
}

func (r *readings) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	s := scanFrom(lo, hi)
	err := r.Numbered.Scan(lo, hi, func(k, v []byte) (bool, error) {
		s.add(k, v)
		more, err := fn(k, v)
		s.whole = more && err == nil
		return more, err
	})
	r.scans = append(r.scans, s.done())
	return err
}

// Leap notes each stretch between two leaps: what a leap went over was not read.
func (r *readings) Leap(lo, hi []byte, fn func(k, v []byte) (to []byte, err error)) error {
	s := scanFrom(lo, hi)
	err := r.Numbered.Leap(lo, hi, func(k, v []byte) ([]byte, error) {
		s.add(k, v)
		to, err := fn(k, v)
		s.whole = to != nil && err == nil
		if r.only = r.only || len(r.scans) >= mostLeaps; !r.only && s.whole && bytes.Compare(to, k) > 0 {
			s.whole = false
			r.scans = append(r.scans, s.done())
			s = scanFrom(to, hi)
		}
		return to, err
	})
	if bytes.Compare(s.lo, s.hi) < 0 {
		r.scans = append(r.scans, s.done())
	}
	return err
}

// scanning is a stretch that is being read.
type scanning struct {
	scanned
	hash maphash.Hash
}

func scanFrom(lo, hi []byte) *scanning {
	s := &scanning{scanned: scanned{lo: bytes.Clone(lo), hi: bytes.Clone(hi), whole: true}}
	s.hash.SetSeed(readSeed)
	return s
}

func (s *scanning) add(k, v []byte) {
	if s.n++; s.n <= fewPairs {
		addPair(&s.hash, k, v)
	}
}

func (s *scanning) done() scanned {
	s.sum = s.hash.Sum64()
	return s.scanned
}

// addPair adds a pair to a sum, so that two pairs never look like one.
func addPair(sum *maphash.Hash, k, v []byte) {
	maphash.WriteComparable(sum, [2]int{len(k), len(v)})
	sum.Write(k)
	sum.Write(v)
}

// same reports whether what was read would read the same in another view, which is
// a later one than that of a commit.
func (r *readings) same(v Numbered, commit uint64) (bool, error) {
	if r.only {
		return false, nil
	}
	for _, s := range r.scans {
		if v.Unchanged(commit, family(s.lo, s.hi)) {
			continue
		}
		if same, err := s.same(v); err != nil || !same {
			return false, err
		}
	}
	for _, g := range r.gets {
		if v.Unchanged(commit, g.key[:min(len(g.key), 2)]) {
			continue
		}
		val, err := v.Get(g.key)
		if err != nil || maphash.Bytes(readSeed, val) != g.sum {
			return false, err
		}
	}
	return true, nil
}

// same reads few pairs again.
func (s scanned) same(v Numbered) (bool, error) {
	if s.n > fewPairs {
		return false, nil
	}
	n, more := 0, false
	var sum maphash.Hash
	sum.SetSeed(readSeed)
	err := v.Scan(s.lo, s.hi, func(k, val []byte) (bool, error) {
		if n == s.n {
			more = true
			return false, nil
		}
		n++
		addPair(&sum, k, val)
		return n < s.n || s.whole, nil
	})
	return n == s.n && !more && sum.Sum64() == s.sum, err
}

// family is a beginning that all keys of a stretch have, of two bytes at most.
func family(lo, hi []byte) []byte {
	for n := min(len(lo), 2); n > 0; n-- {
		if bytes.Compare(hi, after(lo[:n])) <= 0 {
			return lo[:n]
		}
	}
	return nil
}

// rowsOnly notes that an answer is made of rows that whole histories of today give
// to a question. A history can change in what gives no rows, as by a note, and it
// need not be read again then: the rows are in the question's tally too, which is
// written whenever those of a unit change.
func rowsOnly(r Reader, q Question) Reader {
	noting, ok := r.(*readings)
	if !ok {
		return r
	}
	lo := []byte{'t', q.ID}
	noting.scans = append(noting.scans, scanned{lo: lo, hi: after(slices.Clone(lo)), n: fewPairs + 1, whole: true})
	return noting.Numbered
}

// notNoting is a reader that may be used by several goroutines, where more will be read
// than is noted.
func notNoting(r Reader) Reader {
	noting, ok := r.(*readings)
	if !ok {
		return r
	}
	noting.only = true
	return noting.Numbered
}
