package eventlog

import (
	"bytes"
	"maps"
	"slices"

	"oldhand/events"
)

// layer is changes that are not on disk.
type layer struct {
	puts  map[string][]byte         // by whole key; nil deletes
	runs  map[feedNo][]events.Event // events by row, in order and without gaps
	lists map[[16]byte][]byte       // what is put at the end of a subject's list
	heads map[feedNo]events.Head
	fresh map[events.FeedID]feedNo // feeds that have no row yet
	split map[feedNo]base          // branches that have none
	begin map[[3]byte]bool         // how the keys of puts begin, so that a scan of others need not look

	own      feedNo
	begun    bool
	doubtful bool
}

func newLayer(own feedNo, begun, doubtful bool) layer {
	return layer{puts: map[string][]byte{}, runs: map[feedNo][]events.Event{}, lists: map[[16]byte][]byte{}, heads: map[feedNo]events.Head{},
		fresh: map[events.FeedID]feedNo{}, split: map[feedNo]base{}, begin: map[[3]byte]bool{}, own: own, begun: begun, doubtful: doubtful}
}

// put changes a key; nil deletes it.
func (l *layer) put(k, v []byte) {
	l.puts[string(k)] = v
	l.begin[beginning(string(k))] = true
}

// beginning is the first bytes of a key.
func beginning(k string) (b [3]byte) {
	copy(b[:], k)
	return b
}

// list puts an event at the end of the lists that it stands in.
func (l *layer) list(n feedNo, e events.Event) {
	subjects, count := subjectsOf(e)
	for _, s := range subjects[:count] {
		l.lists[s] = appendRef(l.lists[s], ref{n, e.Seq})
	}
}

// get reads a key that is neither a list's nor an event's; false where it is not
// changed.
func (l *layer) get(k []byte) ([]byte, bool) {
	v, ok := l.puts[string(k)]
	return v, ok
}

func (l *layer) event(n feedNo, seq uint64) (e events.Event, ok bool) {
	run := l.runs[n]
	if len(run) == 0 || seq < run[0].Seq || seq > run[len(run)-1].Seq {
		return e, false
	}
	return run[seq-run[0].Seq], true
}

// absorb lays the changes of a finished action on those before it.
func (l *layer) absorb(o layer) {
	maps.Copy(l.puts, o.puts)
	maps.Copy(l.begin, o.begin)
	for n, run := range o.runs {
		if have := l.runs[n]; have != nil {
			run = append(have, run...)
		}
		l.runs[n] = run
	}
	for s, refs := range o.lists {
		if have := l.lists[s]; have != nil {
			refs = append(have, refs...)
		}
		l.lists[s] = refs
	}
	maps.Copy(l.heads, o.heads)
	maps.Copy(l.fresh, o.fresh)
	maps.Copy(l.split, o.split)
	l.own, l.begun, l.doubtful = o.own, o.begun, o.doubtful
}

// keys is about how many keys a layer changes.
func (l *layer) keys() int {
	n := len(l.puts) + len(l.lists) + len(l.heads)
	for _, run := range l.runs {
		n += len(run)
	}
	return n
}

// each calls fn with all changes in the order of their keys: the store then finds
// the place of each beside the last. What joins a list is put at its end by the
// store itself when the list is read. A value of nil deletes. Key and value are
// good until fn returns. Events keep their hashes as far apart as the spacing says.
func (l *layer) each(s spacing, fn func(k, v []byte, join bool) error) error {
	for n, h := range l.heads {
		l.puts[string(feedKey(famFeed, n))] = feedValue(h)
	}
	puts := slices.Sorted(maps.Keys(l.puts))
	upTo := func(fam string) error {
		for len(puts) > 0 && (fam == "" || puts[0] < fam) {
			if err := fn([]byte(puts[0]), l.puts[puts[0]], false); err != nil {
				return err
			}
			puts = puts[1:]
		}
		return nil
	}
	for _, step := range []func() error{
		func() error { return upTo(string(famEvent)) }, func() error { return l.eachEvent(s, fn) },
		func() error { return upTo(string(famSubject)) }, func() error { return l.eachList(fn) },
		func() error { return upTo("") },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func (l *layer) eachEvent(s spacing, fn func(k, v []byte, join bool) error) error {
	var value []byte
	for _, n := range slices.Sorted(maps.Keys(l.runs)) {
		for _, e := range l.runs[n] {
			value = s.appendValue(value[:0], e.Seq, e.Hash, e.Record)
			if err := fn(eventKey(n, e.Seq), value, false); err != nil {
				return err
			}
		}
	}
	return nil
}

func (l *layer) eachList(fn func(k, v []byte, join bool) error) error {
	subjects := slices.SortedFunc(maps.Keys(l.lists), func(a, b [16]byte) int { return bytes.Compare(a[:], b[:]) })
	for _, s := range subjects {
		if err := fn(subjectKey(s), l.lists[s], true); err != nil {
			return err
		}
	}
	return nil
}
