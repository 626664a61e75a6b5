package replicate_test

import (
	"fmt"
	"testing"
	"time"

	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"
)

// Whichever call fails while an exchange is begun with from its first message, the bench
// says so, what was remembered stays, and done again it is forgotten.
func TestWhicheverCallFailsWhileAnExchangeIsBegunAnew_P2_P9_F20_F21(t *testing.T) {
	looked := time.Unix(1_000_000, 0)
	for name, c := range map[string]struct {
		do   func(d *desk, x *benchtest.Model) error
		anew bool // it begins with a new bench
		read uint64
		at   time.Time // when it was looked at, afterwards
	}{
		"it lacks other messages than before": {func(d *desk, x *benchtest.Model) error {
			return d.b.Surveyed("A", 99, looked.Add(time.Hour))
		}, false, 0, looked.Add(time.Hour)},
		"a message of it comes while another is met": {func(d *desk, x *benchtest.Model) error {
			m, _ := x.From(1)
			_, err := d.b.Message(m, d.now)
			return err
		}, false, 1, time.Time{}},
		"it was put back, and is met": {func(d *desk, x *benchtest.Model) error {
			_, err := d.b.Meet(replicate.State{Epoch: "A", Last: 1, Lost: true}, d.now)
			return err
		}, true, 0, time.Time{}},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, 424, 2)
			a, d := s.desks[0], s.desks[1]
			a.note("one")
			x, other := benchtest.NewModel("A"), benchtest.NewModel("B")
			settle(x, a)
			log := &once{Log: replicate.OnLog(d.log), left: -1}
			d.b = must(replicate.NewBench(log, s.id, d.key, d.random))
			settle(x, d)
			d.ok(d.b.Surveyed("A", 0, looked))
			d.meet(other)
			if c.anew {
				d.b = must(replicate.NewBench(log, s.id, d.key, d.random))
			}
			cursor, spots := must(d.b.Cursor("A")), d.spots("A")
			for n := 0; ; n++ {
				log.left, log.hit = n, false
				err := c.do(d, x)
				hit := log.hit
				log.left = -1
				at, err2 := d.b.SurveyedAt("A")
				d.ok(err2)
				if !hit {
					d.ok(err)
					if got := must(d.b.Cursor("A")); n < 3 || got.Message != c.read || !at.Equal(c.at) || d.spots("A") > int(c.read) {
						t.Errorf("after %d calls it was read up to %d, looked at %s, spots %d", n, got.Message, at, d.spots("A"))
					}
					return
				}
				wantBalk(t, fmt.Sprintf("call %d fails", n), err)
				if got := must(d.b.Cursor("A")); got != cursor && !c.anew || !at.Equal(looked) || d.spots("A") != spots && !c.anew {
					t.Errorf("call %d failed: read up to %d, looked at %s, %d spots of %d", n, got.Message, at, d.spots("A"), spots)
				}
			}
		})
	}
}

// spots counts of how many branches it is remembered how far an exchange has them.
func (d *desk) spots(epoch string) (n int) {
	d.shop.t.Helper()
	d.ok(replicate.OnLog(d.log).Marks([]byte("t"+epoch+"\x00"), func(_, _ []byte) error { n++; return nil }))
	return n
}
