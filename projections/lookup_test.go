package projections

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/tag"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// plainFinder is a finder that looks each thing up by itself, one scan a place: what
// the way through all of them in order is held against.
type plainFinder struct{ finder }

func (f *plainFinder) oneSlip(key string) error {
	if len(key) < 4 {
		return nil
	}
	var err error
	OneSlip(key, func(near string) {
		if err == nil && near != key {
			err = f.terms(bySerial, near, 1-1/float64(max(len(key), len(near))), "serial with one slip")
		}
	})
	return err
}

func (f *plainFinder) nearTags(query string) error {
	digits := tag.Clean(query)
	if len(digits) < 4 || tag.Valid(digits) {
		return nil
	}
	for _, near := range tag.Near(digits) {
		if err := f.terms(byTag, near, 1-1/float64(len(near)), "tag with one slip"); err != nil {
			return err
		}
	}
	return nil
}

func (f *plainFinder) sharing(key string) (map[events.UnitID]int, error) {
	shared := map[events.UnitID]int{}
	for _, g := range sought(key) {
		lo := gramPrefix(g)
		err := f.r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
			root, _ := rootOf(k)
			shared[root]++
			return true, nil
		})
		if err != nil {
			return nil, err
		}
	}
	return shared, nil
}

func (f *plainFinder) serials(key string) error {
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

// models goes through the units of all models, not from one model to the next.
func (f *plainFinder) models(query string) error {
	whole := events.Key(query)
	words := strings.FieldsFunc(query, func(r rune) bool { return r == ' ' || r == ',' })
	for i, w := range words {
		words[i] = events.Key(w)
	}
	if len(whole) < 2 {
		return nil
	}
	of := map[string]int{}
	lo := []byte{'l', byModel}
	return f.r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
		name := string(k[2 : len(k)-17])
		maker, model, _ := strings.Cut(name, "\x00")
		root, _ := rootOf(k)
		if like := modelLikeness(whole, words, maker, model); like > 0 && of[name] < f.limit {
			of[name]++
			f.offer(Match{root, like, "model"})
		}
		return true, nil
	})
}

func findPlainly(r Reader, query string, limit int) ([]Match, error) {
	f := plainFinder{finder{r: r, best: map[events.UnitID]Match{}, limit: limit}}
	key := events.Key(query)
	for _, steps := range [][]func() error{
		{
			func() error { return f.terms(byTag, tag.Clean(query), 1, "tag") },
			func() error { return f.terms(bySerial, key, 1, "serial") },
			func() error { return f.oneSlip(key) },
			func() error { return f.jobs(query) },
		},
		{func() error { return f.nearTags(query) }, func() error { return f.models(query) }},
		{func() error { return f.serials(key) }},
	} {
		if err := inTurn(steps); err != nil {
			return nil, err
		}
		if len(f.best) > 0 {
			break
		}
	}
	return f.matches(), nil
}

// shelved is a real log on a disk in memory with histories in it, read from its
// tables; no events, since lookups read none.
func shelved(t interface{ Fatal(...any) }, hs []*History) *eventlog.Log {
	opt := eventlog.Options{Dir: "store", FS: vfs.NewMem(), Create: true}
	l, err := eventlog.Open(opt)
	if err == nil {
		err = l.Append(context.Background(), func(tx *eventlog.Tx) error { return shelve(tx, hs) })
	}
	if err == nil {
		err = l.Close()
	}
	if err == nil {
		l, err = eventlog.Open(opt)
	}
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// termsOf are the keys under which a history is found.
func termsOf(h *History) *rowList {
	var l rowList
	terms(h, &l)
	return &l
}

func shelve(to Store, hs []*History) error {
	for _, h := range hs {
		to.Put(historyKey(h.Root), h.bytes())
		termsOf(h).each(func(k []byte) { to.Put(bytes.Clone(k), nil) })
	}
	return nil
}

// unitOf is a history as lookups see one; nth makes its id, in no order.
func unitOf(nth int, maker, model, tagged string, serials ...string) *History {
	var id events.UnitID
	binary.BigEndian.PutUint64(id[:], uint64(nth)*0x9e3779b97f4a7c15)
	id[15] = 1
	h := aHistory()
	h.Root, h.Members, h.Maker, h.Model, h.Tags, h.Serials = id, []events.UnitID{id}, maker, model, nil, serials
	if tagged != "" {
		h.Tags = []string{tagged}
	}
	return h
}

// slipped is a key after some slips of the hand.
func slipped(t *rapid.T, key string, times int) string {
	for range times {
		if key == "" {
			return key
		}
		at := rapid.IntRange(0, len(key)-1).Draw(t, "where")
		letter := rapid.SampledFrom([]string{"0", "1", "7", "A", "E", "Z"}).Draw(t, "letter")
		switch rapid.SampledFrom([]string{"wrong", "missing", "too many", "at the end", "swapped"}).Draw(t, "slip") {
		case "wrong":
			key = key[:at] + letter + key[at+1:]
		case "missing":
			key = key[:at] + key[at+1:]
		case "too many":
			key = key[:at] + letter + key[at:]
		case "at the end":
			key += letter
		case "swapped":
			if at+1 < len(key) {
				key = key[:at] + key[at+1:at+2] + key[at:at+1] + key[at+2:]
			}
		}
	}
	return key
}

var (
	someSerial = rapid.OneOf(rapid.StringMatching(`[01AZ]{3,6}`), rapid.StringMatching(`E[0-9]{2} [0-9]{5}`), rapid.SampledFrom([]string{"Ä1744É", "1010 1010", "AAAAAA"}))
	someTag    = rapid.SampledFrom([]string{"", "", "10019", "10029", "10123", "20012"})
	someMaker  = rapid.SampledFrom([]string{"Ostrel", "Corvane", "E17", ""})
	someModel  = rapid.SampledFrom([]string{"R-950", "R-95", "MS-44", "01A", ""})
)

// someUnits are units many of whose serials are some slips from one another.
func someUnits(t *rapid.T, from, most int) (hs []*History) {
	serials := []string{"E17-17750"}
	for i := range rapid.IntRange(1, most).Draw(t, "units") {
		serial := someSerial.Draw(t, "serial")
		if rapid.Bool().Draw(t, "like another") {
			serial = slipped(t, rapid.SampledFrom(serials).Draw(t, "which"), rapid.IntRange(0, 3).Draw(t, "slips"))
		}
		serials = append(serials, serial)
		hs = append(hs, unitOf(from+i, someMaker.Draw(t, "maker"), someModel.Draw(t, "model"), someTag.Draw(t, "tag"), serials[rapid.IntRange(0, len(serials)-1).Draw(t, "first"):]...))
	}
	return hs
}

// Whatever is asked for, in a view or inside an action that has units of its own, the
// one way through all places finds what is found by looking into each by itself.
func TestALookupFindsWhatLookingIntoEachPlaceByItselfFinds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kept, made := someUnits(t, 0, 20), someUnits(t, 1000, 4)
		l := shelved(t, kept)
		defer l.Close()
		all := append(slices.Clone(kept), made...)
		limits := rapid.SliceOfN(rapid.SampledFrom([]int{1, 2, 5, 100}), 4, 4).Draw(t, "limits")
		queries := []string{rapid.SampledFrom([]string{"Ostrel R950", "corvane", "01A", "10018", "1019", "job 1"}).Draw(t, "no serial")}
		for range 3 {
			h := all[rapid.IntRange(0, len(all)-1).Draw(t, "unit asked for")]
			serial := rapid.SampledFrom(h.Serials).Draw(t, "serial asked for")
			queries = append(queries, slipped(t, events.Key(serial), rapid.IntRange(0, 2).Draw(t, "slips")))
		}
		check := func(r Reader, units []*History) error {
			for i, q := range queries {
				if err := errors.Join(sameFound(r, q, limits[i]), samePieces(r, q, limits[i]), allOneSlip(r, units, q)); err != nil {
					return err
				}
			}
			return nil
		}
		v, err := l.View()
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		if err := check(v, kept); err != nil {
			t.Fatal(err)
		}
		err = l.Append(context.Background(), func(tx *eventlog.Tx) error {
			gone := kept[0]
			termsOf(gone).each(tx.Delete)
			if err := shelve(tx, made); err != nil {
				return err
			}
			return check(tx, all[1:])
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}

func sameFound(r Reader, query string, limit int) error {
	want, err := findPlainly(r, query, limit)
	if err != nil {
		return err
	}
	got, err := Find(r, nil, query, limit)
	if err == nil && !reflect.DeepEqual(got, want) {
		err = fmt.Errorf("%q, at most %d:\nfound   %v\nplainly %v", query, limit, got, want)
	}
	return err
}

// samePieces compares what is found by pieces, and how many each unit shares, which
// decides only among more units than these.
func samePieces(r Reader, query string, limit int) error {
	of := finder{r: r, best: map[events.UnitID]Match{}, limit: limit}
	plain := plainFinder{of}
	plain.best = map[events.UnitID]Match{}
	key := events.Key(query)
	got, err := of.sharing(key)
	if err != nil {
		return err
	}
	want, err := plain.sharing(key)
	if err == nil && !maps.Equal(got, want) {
		err = fmt.Errorf("pieces of %q: found %v, plainly %v", query, got, want)
	}
	if err = errors.Join(err, of.serials(key), plain.serials(key)); err != nil {
		return err
	}
	if got, want := of.matches(), plain.matches(); !reflect.DeepEqual(got, want) {
		return fmt.Errorf("by pieces of %q, at most %d:\nfound   %v\nplainly %v", query, limit, got, want)
	}
	return nil
}

// allOneSlip holds what is found by a serial against the count of slips between it and
// every serial there is.
func allOneSlip(r Reader, units []*History, query string) error {
	key := events.Key(query)
	if strings.ContainsFunc(key, func(r rune) bool { return !strings.ContainsRune(keyLetters, r) }) {
		return nil // slips are tried with no such letter
	}
	want := map[events.UnitID]bool{}
	for _, h := range units {
		for _, s := range h.Serials {
			n := slips(key, events.Key(s), mostSlips)
			if key != "" && (n == 0 || n == 1 && len(key) >= 4) {
				want[h.Root] = true
			}
		}
	}
	found, err := FindSerial(r, query, 1000)
	if err != nil {
		return err
	}
	got := map[events.UnitID]bool{}
	for _, m := range found {
		got[m.Root] = true
	}
	if !maps.Equal(got, want) {
		return fmt.Errorf("%q: found %v, one slip away are %v", query, got, want)
	}
	return nil
}

// A lookup among five thousand units of a hundred models, by a serial with one slip
// in it, by one that is right, by one that nothing is like, and by a model: the way
// that is used, and the plain one.
func BenchmarkLookup(b *testing.B) {
	random := rand.New(rand.NewPCG(7, 7))
	var hs []*History
	for i := range 5000 {
		hs = append(hs, unitOf(i, fmt.Sprint("Maker ", i%10), fmt.Sprint("M-", i%100), "", fmt.Sprintf("E%02d-%05d", random.IntN(40), random.IntN(100000))))
	}
	l := shelved(b, hs)
	defer l.Close()
	v, err := l.View()
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	known := events.Key(hs[2500].Serials[0])
	for _, q := range []struct{ name, query string }{
		{"slip", known[:3] + "Q" + known[4:]}, {"right", known}, {"nothing", "QQXX7731"}, {"model", "Maker 3 M-13"},
	} {
		for _, way := range []struct {
			name string
			find func() ([]Match, error)
		}{
			{"plain", func() ([]Match, error) { return findPlainly(v, q.query, 10) }},
			{"one-way", func() ([]Match, error) { return Find(v, nil, q.query, 10) }},
		} {
			b.Run(q.name+"/"+way.name, func(b *testing.B) {
				for b.Loop() {
					if _, err := way.find(); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

// What one slip could make of a serial is looked for in a serial that somebody may have
// typed. In one that fills a record of a bench that keeps no rule it would be gigabytes.
func TestALookupCostsNoMoreThanTheLengthOfWhatIsLookedFor(t *testing.T) {
	const long = 3000
	one, other := strings.Repeat("7", long), strings.Repeat("7", long-1)+"8"
	l := shelved(t, []*History{unitOf(1, "Ostrel", "R-950", "", one), unitOf(2, "Ostrel", "R-950", "", other)})
	defer l.Close()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for _, query := range []string{one, one[1:], one + "1", strings.Repeat("W", long)} {
		found, err := Find(v, nil, query, 5)
		if err != nil || query == one && (len(found) == 0 || found[0].Likeness != 1) {
			t.Errorf("a serial of %d letters finds %v (%v)", len(query), found, err)
		}
	}
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; got > 64<<20 {
		t.Errorf("lookups of %d letters take %d MiB", long, got>>20)
	}
	if !Near(one, one) || Near(one, other) {
		t.Error("long words are near to themselves only")
	}
}

// A picture of what sets read goes without a range that no picture has room for; its row
// stands in the answer.
func TestAReadingTooLargeToDrawTakesNoPictureAway(t *testing.T) {
	rows := []NormRow{{Point: "AM", In: "V", Sets: 2, Least: 1, Middle: 2, Most: 3}, {Point: "FM", In: "V", Sets: 9, Least: 1, Middle: 2, Most: 1e20},
		{Point: "phono", In: "V", Sets: 9, Least: -1e127, Middle: 2, Most: 3}, {Point: "tape", In: "V", Sets: 9, Least: math.Inf(-1), Middle: 2, Most: 3}}
	p := normsPicture(rows)
	if p == nil || len(p.Ranges) != 1 || !strings.HasSuffix(p.Ranges[0].Name, "AM") || len(rows) != 4 || rows[1].Point != "FM" {
		t.Errorf("drawn: %+v of %v", p, rows)
	}
	if p := normsPicture(rows[1:]); p != nil {
		t.Errorf("drawn: %+v", p)
	}
}
