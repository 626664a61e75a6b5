package events_test

import (
	"fmt"
	"time"

	"oldhand/events"
	"oldhand/events/hlc"
)

// A technician found a leaky capacitor. The draft gets an id and becomes a
// record; the record is linked behind the feed's first event, which gives it
// its hash.
func Example() {
	clock := hlc.New(func() int64 { return time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC).UnixMilli() }, 0)
	feed := events.FeedID{Bench: events.BenchID{1}, Incarnation: events.Incarnation{2}}
	head := events.Head{Feed: feed}

	unit := events.UnitID{3} // the id of the event that named the set
	for _, draft := range []events.Draft{
		{Body: events.FeedBegun{Shop: events.ShopID{4}}},
		{
			About: unit,
			At:    events.OnDay(events.NewDay(2026, 11, 25)),
			By:    "mara",
			Body:  events.FaultFound{Component: "filter-capacitor", Designator: "C14", Mode: "leaky", Cause: "age"},
		},
	} {
		stamp, err := clock.Next()
		if err != nil {
			fmt.Println(err)
			return
		}
		envelope, body, err := draft.Make(events.NewEventID(stamp, [8]byte{5}))
		if err != nil {
			fmt.Println(err)
			return
		}
		record, err := events.EncodeRecord(envelope, body)
		if err != nil {
			fmt.Println(err)
			return
		}
		event, err := events.Link(head, record)
		if err != nil {
			fmt.Println(err)
			return
		}
		head = event.Head()
		fmt.Printf("%d %s: %s\n", event.Seq, event.At, event.Line())
	}
	// Output:
	// 1 unknown: a bench opened its log
	// 2 2026-11-25: fault: C14 filter capacitor leaky, cause age
}
