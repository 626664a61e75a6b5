package hlc_test

import (
	"testing"
	"time"

	"oldhand/events/hlc"

	"pgregory.net/rapid"
)

func TestF13_StampsOnlyRiseWhateverTheMachinesClockDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		now := rapid.Int64Range(-1<<41, 1<<47).Draw(t, "start")
		c := hlc.New(func() int64 { return now }, 0)
		var last hlc.Stamp
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				now = rapid.Int64Range(-1<<41, 1<<47).Draw(t, "jump")
			case 1:
				c = hlc.New(func() int64 { return now }, c.Last())
			case 2:
				c.See(hlc.Stamp(rapid.Uint64Range(0, 1<<62).Draw(t, "seen")))
			}
			s, err := c.Next()
			if err != nil {
				t.Fatal(err)
			}
			if s <= last {
				t.Fatalf("stamp %x after %x", s, last)
			}
			last = s
		}
	})
}

func TestCounterCarriesIntoMillisecondsWhenItIsFull(t *testing.T) {
	c := hlc.New(func() int64 { return 1000 }, hlc.Join(1000, 0xffff))
	s, err := c.Next()
	if err != nil || s.Ms() != 1001 || s.Counter() != 0 {
		t.Fatalf("got %d.%d, %v", s.Ms(), s.Counter(), err)
	}
}

func TestSeeingAnotherBenchLiftsTheClockAboveIt(t *testing.T) {
	now := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC).UnixMilli()
	c := hlc.New(func() int64 { return now }, 0)
	seen := hlc.Join(uint64(now)+3_600_000, 7)
	if c.See(seen) {
		t.Fatal("an hour ahead is not doubtful")
	}
	if s, _ := c.Next(); s <= seen {
		t.Fatalf("stamp %x is not above the seen %x", s, seen)
	}
}

func TestF13_AStampOverADayAheadIsDoubtfulAndNotMerged(t *testing.T) {
	for _, year := range []int{1970, 2026, 2038, 2039} {
		now := time.Date(year, 1, 19, 3, 14, 7, 0, time.UTC).UnixMilli()
		c := hlc.New(func() int64 { return now }, 0)
		before := c.Last()
		if !c.See(hlc.At(now + hlc.MaxAhead.Milliseconds() + 1)) {
			t.Fatalf("%d: a day and a millisecond ahead is doubtful", year)
		}
		if c.Last() != before {
			t.Fatalf("%d: a doubtful stamp was merged", year)
		}
		if c.See(hlc.At(now + hlc.MaxAhead.Milliseconds())) {
			t.Fatalf("%d: a day ahead is not yet doubtful", year)
		}
	}
}

func TestSpentClockRefusesRatherThanWrapsAround(t *testing.T) {
	c := hlc.New(func() int64 { return 0 }, hlc.Join(1<<48-1, 0xffff))
	if _, err := c.Next(); err != hlc.ErrSpent {
		t.Fatalf("got %v", err)
	}
}
