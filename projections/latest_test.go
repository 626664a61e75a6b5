package projections_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/projections"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// Thirty units of one model over six years, two of a model whose name goes on from
// it, and one that was joined away.
func TestTheLatestUnitsAreFoundByWhenTheyWereNamed(t *testing.T) {
	b := eventstest.FoundShop(t, 7).Bench(t, 1)
	o := b.Options(vfs.NewMem(), "log")
	o.Projector = projections.Engine{}
	l := eventstest.Open(t, o)
	receive := func(model, serial string) (id events.EventID) {
		t.Helper()
		err := l.Append(context.Background(), func(tx *eventlog.Tx) (err error) {
			id, err = tx.Add(events.Draft{At: events.AtTime(b.Clock.Now()), Body: events.Received{Maker: "Ostrel", Model: model, Serial: serial}})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	var ids []events.EventID
	for i := range 30 {
		ids = append(ids, receive("R-95", fmt.Sprint("A", i)))
		b.Clock.Move(73 * 24 * time.Hour)
	}
	receive("R-950", "B1")
	receive("R-950", "B2")
	err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: events.UnitID(ids[0]), Body: events.SameUnit{Other: events.UnitID(ids[29])}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()

	for _, n := range []int{1, 3, 12, 100} {
		found, err := projections.LatestOfModel(v, "OSTREL", "r95", b.Clock.Now(), n)
		if err != nil {
			t.Fatal(err)
		}
		var got, want []string
		for _, h := range found {
			got = append(got, h.Serial)
		}
		for i := 28; i >= 0 && len(want) < n; i-- { // the last went into the first
			want = append(want, fmt.Sprint("A", i))
		}
		if !slices.Equal(got, want) {
			t.Errorf("the last %d of the model are %v, want %v", n, got, want)
		}
	}

	lately := func(n int) (serials []string) {
		if err := projections.Lately(v, b.Clock.Now(), n, func(h *projections.History) { serials = append(serials, h.Serial) }); err != nil {
			t.Fatal(err)
		}
		return serials
	}
	// Two of this week are enough for two; for more the windows widen, and what is
	// joined away is nowhere.
	if got := lately(2); !slices.Equal(got, []string{"B1", "B2"}) {
		t.Errorf("two of late are %v", got)
	}
	if got := lately(8); len(got) != 8 || slices.Contains(got, "A0") {
		t.Errorf("eight of late are %v", got)
	}
	if got := lately(1000); len(got) != 31 || slices.Contains(got, "A29") {
		t.Errorf("all are %d: %v", len(got), got)
	}
}
