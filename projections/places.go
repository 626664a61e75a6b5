package projections

import "bytes"

// A lookup looks into hundreds of places, most of which are empty. They are sorted and
// gone through with one iterator, which stands in front of the first key there is: of
// all places before it none is looked into.

// termsAt offers the units at each of some terms, which are in order, as the match
// that a term stands for; of each term as many as terms would.
func (f *finder) termsAt(places [][]byte, as func(i int) Match) error {
	at, left := -1, 0
	return eachAt(f.r, places, func(i int, k []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok || len(k) != len(places[i])+16 {
			return true, nil // as in Each
		}
		if i != at {
			at, left = i, max(f.limit, 1)
		}
		m := as(i)
		m.Root = root
		f.offer(m)
		left--
		return left > 0, nil
	})
}

// eachAt calls fn with the keys that begin with each of some prefixes, and with
// which it is, on one way through them: the prefixes are in order, and none is the
// beginning of another. Where fn gives false it goes on at the next prefix. One that
// the way leads past costs nothing.
func eachAt(r Reader, prefixes [][]byte, fn func(i int, k []byte) (more bool, err error)) error {
	if len(prefixes) == 0 {
		return nil
	}
	i := 0
	return r.Leap(prefixes[0], after(prefixes[len(prefixes)-1]), func(k, _ []byte) ([]byte, error) {
		for i < len(prefixes) && bytes.Compare(prefixes[i], k) <= 0 && !bytes.HasPrefix(k, prefixes[i]) {
			i++
		}
		if i == len(prefixes) {
			return nil, nil
		}
		if !bytes.HasPrefix(k, prefixes[i]) {
			return prefixes[i], nil
		}
		more, err := fn(i, k)
		if more || err != nil {
			return k, err
		}
		if i++; i == len(prefixes) {
			return nil, nil
		}
		return prefixes[i], nil
	})
}
