package eventlog

import (
	"testing"

	"oldhand/events"

	"pgregory.net/rapid"
)

// The logs of the tests have few events: with this they are gone through in parts too.
func init() { leastPart = 10 }

// All events of all rows are in one part each, in their order, and a row is divided only
// behind an event that keeps its hash; parts are as large as groups allow.
func TestRowsAreDividedIntoPartsBetweenGroups(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom([]spacing{dense, sparse}).Draw(t, "spacing")
		most := rapid.IntRange(0, 7).Draw(t, "most")
		var rows []run
		all := uint64(0)
		for n := range rapid.IntRange(0, 6).Draw(t, "rows") {
			base := rapid.Uint64Range(0, 40).Draw(t, "base")
			size := rapid.Uint64Range(1, 300).Draw(t, "size")
			rows = append(rows, run{n: feedNo(n), base: baseAt(base), row: events.Head{Seq: base + size}, from: base + 1, upTo: base + size})
			all += size
		}
		parts := s.inParts(rows, most)
		if want := int(min(uint64(max(1, most)), 1+all/leastPart)); len(parts) != want {
			t.Fatalf("%d parts of %d events, want %d", len(parts), all, want)
		}
		nth, gone := 0, uint64(0)
		for i, part := range parts {
			for _, u := range part {
				if u.events() == 0 || u.n != rows[nth].n || u.from != rows[nth].from || u.upTo > rows[nth].upTo {
					t.Fatalf("part %d has events %d to %d of row %d, want them from %d on of row %d", i, u.from, u.upTo, u.n, rows[nth].from, rows[nth].n)
				}
				gone += u.events()
				if u.upTo == rows[nth].upTo {
					nth++
					continue
				}
				if !s.keeps(u.upTo) {
					t.Fatalf("part %d ends with event %d of a row, which keeps no hash", i, u.upTo)
				}
				rows[nth].from = u.upTo + 1
			}
			if end := all * uint64(i+1) / uint64(len(parts)); gone > end || gone+uint64(s) <= end {
				t.Fatalf("%d events are in the parts up to %d, want %d or some less", gone, i, end)
			}
		}
		if nth != len(rows) {
			t.Fatalf("%d rows are in no part", len(rows)-nth)
		}
	})
}

func baseAt(seq uint64) base { return base{head: events.Head{Seq: seq}} }
