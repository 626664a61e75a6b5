package projections

import (
	"bytes"
	"cmp"
	"maps"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/tag"
)

// Match is a unit that a query may mean.
type Match struct {
	Root     events.UnitID
	Likeness float64 // 0 to 1; 1 is what was asked for, to the letter
	Why      string  // what of it matched
}

// Naming gives the customers whose name has each of some words, which are in lower
// case; see Customers.Find.
type Naming func(words []string) ([]Named, error)

// Opener gives the keys that personal text is opened with.
type Opener interface {
	PersonKey(events.PersonID) (events.PersonKey, error)
}

// Likeness of what is not a matter of slips.
const (
	likeFragment = 0.9 // times the share of the serial that was typed, and a bit
	likeModel    = 0.7
	likePerson   = 0.8
)

// The Why of a match by a piece of a serial, and by a customer's name.
const (
	PartOfSerial = "part of the serial"
	ByCustomer   = "customer"
)

// mostSlips is how many slips of the hand a serial is still offered after.
const mostSlips = 2

// Find gives the units that a query may mean, best first, at most limit. The
// query is a tag, a serial or a piece of one, an id, a maker or model, or a customer's
// name, as typed; without naming nobody is found by a name.
func Find(r Reader, naming Naming, query string, limit int) ([]Match, error) {
	f := finder{r: r, best: map[events.UnitID]Match{}, limit: limit}
	query = strings.TrimSpace(query)
	key := events.Key(query)
	// First what was asked for to the letter; else what is near it; and what
	// costs more the more there is to go through only if nothing is.
	for _, steps := range [][]func() error{{
		func() error { return f.terms(byTag, tag.Clean(query), 1, "tag") },
		func() error { return f.terms(bySerial, key, 1, "serial") },
		func() error { return f.oneSlip(key) }, // also beside the very one: it may be the same set
		func() error { return f.jobs(query) },
		func() error { return f.id(query) },
	}, {
		func() error { return f.nearTags(query) },
		func() error { return f.models(query) },
	}, {
		func() error { return f.serials(key) },
		func() error { return f.persons(naming, query) },
	}} {
		if err := inTurn(steps); err != nil {
			return nil, err
		}
		if len(f.best) > 0 {
			break
		}
	}
	return f.matches(), nil
}

func inTurn(steps []func() error) error {
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// id offers the unit of an id, which is all that a unit can be called by whose bench gave
// it no tag, serial or name.
func (f *finder) id(query string) error {
	var id events.UnitID
	if len(query) != 26 || id.UnmarshalText([]byte(query)) != nil {
		return nil
	}
	h, err := Load(f.r, id)
	if err == nil && h != nil {
		f.offer(Match{h.Root, 1, "id"})
	}
	return err
}

// jobs offers the units of a job of an old book, by its number after the word
// job.
func (f *finder) jobs(query string) error {
	word, number, _ := strings.Cut(strings.ToLower(query), " ")
	if word != "job" || events.Key(number) == "" {
		return nil
	}
	prefix := append([]byte{'l', byJob}, events.Key(number)...)
	return f.r.Scan(append(slices.Clone(prefix), 0), append(slices.Clone(prefix), 1), func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if ok {
			f.offer(Match{root, 1, "job number"})
		}
		return len(f.best) < f.limit, nil
	})
}

type finder struct {
	r     Reader
	best  map[events.UnitID]Match
	limit int
}

func (f *finder) offer(m Match) {
	if have, ok := f.best[m.Root]; !ok || m.Likeness > have.Likeness {
		f.best[m.Root] = m
	}
}

// matches are the offers, likest first; of equals the unit named last is first.
func (f *finder) matches() []Match {
	ms := make([]Match, 0, len(f.best))
	for _, m := range f.best {
		ms = append(ms, m)
	}
	slices.SortFunc(ms, func(a, b Match) int {
		return cmp.Or(cmp.Compare(b.Likeness, a.Likeness), b.Root.Compare(a.Root))
	})
	return ms[:min(len(ms), f.limit)]
}

// terms offers the units that have a term.
func (f *finder) terms(class byte, text string, likeness float64, why string) error {
	if text == "" {
		return nil
	}
	left := max(f.limit, 1)
	return Each(f.r, class, []byte(text), func(root events.UnitID) (bool, error) {
		f.offer(Match{root, likeness, why})
		left--
		return left > 0, nil
	})
}

// Each calls fn with the units found by exactly this text.
func Each(r Reader, class byte, text []byte, fn func(events.UnitID) (bool, error)) error {
	lo := termPrefix(class, text)
	return r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok || len(k) != len(lo)+16 {
			return true, nil // a longer text that has a zero here
		}
		return fn(root)
	})
}

// serials offers units by a serial that was typed in part or with slips: those
// that share enough grams with it, then compared letter by letter.
func (f *finder) serials(key string) error {
	if len(key) < 3 {
		return nil
	}
	shared, err := f.sharing(key)
	if err != nil {
		return err
	}
	for _, root := range f.promising(shared) {
		if err := f.compare(key, root); err != nil {
			return err
		}
	}
	return nil
}

// sharing counts, of each unit, the pieces of its serials that a key has too; one that
// the key has twice is read once and counts twice.
func (f *finder) sharing(key string) (map[events.UnitID]int, error) {
	gs := sought(key)
	slices.SortFunc(gs, func(a, b gram) int { return bytes.Compare(a[:], b[:]) })
	var times []int // how often each is in the key
	var places [][]byte
	for i, g := range gs {
		if i > 0 && g == gs[i-1] {
			times[len(times)-1]++
			continue
		}
		times, places = append(times, 1), append(places, gramPrefix(g))
	}
	shared := map[events.UnitID]int{}
	return shared, eachAt(f.r, places, func(i int, k []byte) (bool, error) {
		if root, ok := rootOf(k); ok {
			shared[root] += times[i]
		}
		return true, nil
	})
}

// promising are the units with the most pieces in common, enough of them that
// what one slip or a fragment leaves is among them.
func (f *finder) promising(shared map[events.UnitID]int) []events.UnitID {
	roots := make([]events.UnitID, 0, len(shared))
	for root := range shared {
		roots = append(roots, root)
	}
	slices.SortFunc(roots, func(a, b events.UnitID) int {
		return cmp.Or(cmp.Compare(shared[b], shared[a]), b.Compare(a))
	})
	return roots[:min(len(roots), 40*max(f.limit, 5))]
}

func (f *finder) compare(key string, root events.UnitID) error {
	h, err := Load(f.r, root)
	if err != nil || h == nil {
		return err
	}
	for _, s := range h.Serials {
		if like, why := serialLikeness(key, events.Key(s)); like > 0 {
			f.offer(Match{root, like, why})
		}
	}
	return nil
}

// serialLikeness compares a typed key with a serial's.
func serialLikeness(typed, serial string) (float64, string) {
	if typed == serial {
		return 1, "serial"
	}
	if strings.Contains(serial, typed) {
		return likeFragment * (0.5 + 0.5*float64(len(typed))/float64(len(serial))), PartOfSerial
	}
	n := slips(typed, serial, mostSlips)
	if n <= mostSlips && len(serial) > 3 {
		return 1 - float64(n)/float64(max(len(typed), len(serial))), "serial with " + plural(n, "slip")
	}
	return 0, ""
}

func plural(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return "two " + what + "s"
}

// models offers units of a maker or model that is named by the query, whole or
// in part.
func (f *finder) models(query string) error {
	words := strings.FieldsFunc(query, func(r rune) bool { return r == ' ' || r == ',' })
	for i, w := range words {
		words[i] = events.Key(w)
	}
	whole := events.Key(query)
	if whole == "" || len(whole) < 2 {
		return nil
	}
	return EachModel(f.r, func(maker, model string, prefix []byte) (bool, error) {
		like := modelLikeness(whole, words, maker, model)
		if like == 0 {
			return true, nil
		}
		left := f.limit
		return true, f.r.Scan(prefix, after(prefix), func(k, _ []byte) (bool, error) {
			if root, ok := rootOf(k); ok {
				f.offer(Match{root, like, "model"})
			}
			left--
			return left > 0, nil
		})
	})
}

// EachModel calls fn with the keys of every maker and model that came in, and
// with the prefix of the views that list its units. It skips from one to the
// next, so it costs as much as there are models.
func EachModel(r Reader, fn func(maker, model string, prefix []byte) (bool, error)) error {
	lo := []byte{'l', byModel}
	return r.Leap(lo, after(lo), func(k, _ []byte) ([]byte, error) {
		if len(k) < 2+2+16 {
			return nil, errView
		}
		prefix := slices.Clone(k[:len(k)-16])
		maker, model, _ := strings.Cut(string(prefix[2:len(prefix)-1]), "\x00")
		if more, err := fn(maker, model, prefix); err != nil || !more {
			return nil, err
		}
		return after(prefix), nil
	})
}

func modelLikeness(whole string, words []string, maker, model string) float64 {
	switch {
	case whole == maker+model:
		return likeModel + 0.25
	case model != "" && whole == model:
		return likeModel + 0.2
	case whole == maker:
		return likeModel - 0.2
	case len(whole) > 3 && model != "" && slips(whole, maker+model, 1) <= 1:
		return likeModel
	}
	for _, w := range words {
		if w == "" || !strings.Contains(maker+" "+model, w) {
			return 0
		}
	}
	return likeModel - 0.1
}

// persons offers the units of customers whose name has the words of the query, of
// the likest names first until there are enough. Names are sealed on disk: an index
// of them there would be a copy that forgetting a person could not reach.
func (f *finder) persons(named Naming, query string) error {
	if named == nil || len(query) < 2 || !strings.ContainsFunc(query, isLetter) {
		return nil
	}
	found, err := named(strings.Fields(strings.ToLower(query)))
	if err != nil {
		return err
	}
	byLikeness := map[float64][]Named{}
	for _, p := range found {
		like := choose(strings.EqualFold(p.Name, query), likePerson+0.1, likePerson*(0.5+0.5*float64(len(query))/float64(max(len(p.Name), len(query)))))
		byLikeness[like] = append(byLikeness[like], p)
	}
	for _, like := range slices.Backward(slices.Sorted(maps.Keys(byLikeness))) {
		for _, p := range byLikeness[like] {
			if err := f.terms(byPerson, string(p.ID[:]), like, ByCustomer); err != nil {
				return err
			}
		}
		if f.asLike(like) >= f.limit {
			break
		}
	}
	return nil
}

// asLike counts the offers that are at least so like.
func (f *finder) asLike(like float64) (n int) {
	for _, m := range f.best {
		if m.Likeness >= like {
			n++
		}
	}
	return n
}

func isLetter(r rune) bool { return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r > 0x7f }

// FindSerial gives the units whose serial is what was typed, or one slip of
// the hand away.
func FindSerial(r Reader, typed string, limit int) ([]Match, error) {
	f := finder{r: r, best: map[events.UnitID]Match{}, limit: limit}
	key := events.Key(typed)
	if err := f.terms(bySerial, key, 1, "serial"); err != nil {
		return nil, err
	}
	if err := f.oneSlip(key); err != nil {
		return nil, err
	}
	return f.matches(), nil
}

// FindPiece gives the units whose serial has what was typed in it.
func FindPiece(r Reader, typed string, limit int) ([]Match, error) {
	f := finder{r: r, best: map[events.UnitID]Match{}, limit: limit}
	if err := f.serials(events.Key(typed)); err != nil {
		return nil, err
	}
	pieces := f.matches()
	return slices.DeleteFunc(pieces, func(m Match) bool { return m.Why != PartOfSerial }), nil
}
