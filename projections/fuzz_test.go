package projections

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
)

// aHistory is a history with something in every place that is written.
func aHistory() *History {
	id := func(n byte) events.EventID { return events.EventID{0, n} }
	entry := func(n byte, k events.Kind, body []byte) Entry {
		return Entry{ID: id(n), Shown: id(n), Kind: k, Version: 1, At: events.OnDay(20000), Body: body}
	}
	changed := entry(3, events.KindNote, []byte{0xa1, 1, 0x63, 'h', 'u', 'm'})
	changed.Shown, changed.By, changed.Version, changed.Visit = id(9), "mar", 2, events.VisitID(id(1))
	return &History{
		Root: events.UnitID(id(1)), Members: []events.UnitID{events.UnitID(id(1)), events.UnitID(id(2))},
		Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", KindOfSet: "receiver", YearFrom: 1967, YearTo: 1968,
		Tags: []string{"10019"}, Serials: []string{"E17-17750", "E17 17750"},
		Visits: []Visit{{ID: events.VisitID(id(1)), Also: []events.VisitID{events.VisitID(id(5))}, Received: events.OnDay(20000), Person: events.PersonID{7},
			Shipped: events.When{Precision: events.ToSecond, Day: 20010, Second: 86399, Offset: -300}, Entries: []Entry{entry(1, events.KindReceived, []byte{0xa0}), changed}}},
		Loose: []Entry{entry(6, 9999, nil)}, Joins: []Entry{entry(7, events.KindSameUnit, []byte{0xa0})}, Withdrawn: []Entry{entry(8, events.KindNote, []byte{0xa0})},
		Conflicts: []Conflict{{Fact: id(3), Versions: []events.EventID{id(9), id(10)}}}, Apart: []events.UnitID{{9}}, Tangled: true, last: place{20010, id(10)},
	}
}

// A history on a disk that gives back other bytes is no history, or one that is
// written as a history that reads alike and can be counted: what it says need not
// be so, and a rebuild mends it, but it stops nobody.
func FuzzReadHistory(f *testing.F) {
	whole := aHistory().bytes()
	f.Add(whole)
	f.Add((&History{Members: []events.UnitID{{1}}}).bytes())
	f.Add(whole[:len(whole)/2])
	f.Add(append(bytes.Clone(whole), 0))
	f.Add([]byte{isHistory, 255, 255, 255, 255, 15})
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := readHistory(b)
		if err != nil {
			if !errors.Is(err, errView) || h != nil {
				t.Fatalf("an error of no kind: %v with %v", err, h)
			}
			return
		}
		if n := entriesOf(h); n > len(b) {
			t.Fatalf("%d entries of %d bytes", n, len(b))
		}
		once := h.bytes()
		again, err := readHistory(once)
		if err != nil {
			t.Fatalf("written again it is not read: %v", err)
		}
		if twice := again.bytes(); !bytes.Equal(once, twice) {
			t.Fatalf("it is written as\n%x\nand then as\n%x", once, twice)
		}
		contribute(h, allViews)
	})
}

func entriesOf(h *History) int {
	n := len(h.Loose) + len(h.Joins) + len(h.Withdrawn)
	for _, v := range h.Visits {
		n += len(v.Entries)
	}
	return n
}

// rowStore is a store that holds some rows.
type rowStore [][2][]byte

func (s rowStore) Get(k []byte) ([]byte, error) {
	for _, r := range s {
		if bytes.Equal(r[0], k) {
			return r[1], nil
		}
	}
	return nil, nil
}

func (s rowStore) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	for _, r := range s {
		if bytes.Compare(r[0], lo) >= 0 && bytes.Compare(r[0], hi) < 0 {
			if more, err := fn(r[0], r[1]); err != nil || !more {
				return err
			}
		}
	}
	return nil
}

func (s rowStore) Leap(lo, hi []byte, fn func(k, v []byte) ([]byte, error)) error {
	return LeapByScans(s, lo, hi, fn)
}

func (rowStore) Events([16]byte) ([]events.Event, error) { return nil, nil }

// Each question is asked of a tally of two rows, one of which may be anything that
// a disk gave back. It says that the projection does not read, or which count can't
// be, or it answers; it does not fall over.
func FuzzTallyRow(f *testing.F) {
	for i, q := range tallied {
		var rows rowList
		q.rows(aHistory(), &rows)
		rows.each(func(row []byte) {
			f.Add(byte(i), row, []byte{1}, byte(0))
			f.Add(byte(i), row[:len(row)-1], []byte{1}, byte(1))
		})
	}
	f.Add(byte(0), []byte{}, []byte{0x80}, byte(0))
	f.Add(byte(1), []byte{0}, []byte{255, 255, 255, 255, 255, 255, 255, 255, 127}, byte(0))
	f.Fuzz(func(t *testing.T, which byte, row, count []byte, by byte) {
		q := tallied[int(which)%len(tallied)]
		key := append([]byte{'t', q.ID}, row...)
		s := rowStore{{key, count}, {historyKey(events.UnitID{0, 1}), aHistory().bytes()}}
		var rows rowList
		q.rows(aHistory(), &rows)
		rows.each(func(r []byte) { s = append(s, [2][]byte{append([]byte{'t', q.ID}, r...), {1}}) })
		slices.SortFunc(s, func(a, b [2][]byte) int { return bytes.Compare(a[0], b[0]) })
		a := Asked{AsOf: 20020, Days: 90}
		if len(q.By) > 0 {
			a.By = q.By[int(by)%len(q.By)]
		}
		if q.answer == nil {
			return
		}
		res, err := Ask(s, q, a)
		if err == nil && res == nil {
			t.Fatalf("%s of row %x answers nothing", q.Name, row)
		}
		if err != nil && !errors.Is(err, errView) && !strings.Contains(err.Error(), "count ") {
			t.Fatalf("%s of row %x: an error that names nothing: %v", q.Name, row, err)
		}
	})
}
