package projections

import (
	"errors"
	"testing"

	"oldhand/events"
)

// A row has a count of one at least; a count of nothing is what a disk gives back, and is
// told wherever blocks are taken apart.
func TestACountOfNothingIsDamage(t *testing.T) {
	if _, _, _, err := nextCount([]byte{1, 5, 0}); !errors.Is(err, errView) {
		t.Errorf("a row: %v", err)
	}
	if _, err := same.add(nil, 0, []byte{1, 5, 0}); !errors.Is(err, errView) {
		t.Errorf("a number of days: %v", err)
	}
	if ages, _ := nearAges(nil, []byte{4, 7, 0, 0, 9, 0}); len(ages) > 0 {
		t.Errorf("ages of a day: %v", ages)
	}
	head := rowKey{backMany}.num(12)
	s := rowStore{{append([]byte{'t', 'c'}, head[:4]...), []byte{2, head[4], 3, 0}}}
	tally := keptTally{r: s, id: 'c', head: comeBackHead}
	if _, err := readOften(tally, events.Day(9000), make([]int, 9)); !errors.Is(err, errView) {
		t.Errorf("units that were back: %v", err)
	}
	s[0][1] = []byte{2, head[4], 3, 1}
	if list, err := readOften(tally, events.Day(9000), []int{3: 1 << 30, 8: 0}); err != nil || len(list) != 1 {
		t.Errorf("the same with a count of one: %v, %v", list, err)
	}
}
