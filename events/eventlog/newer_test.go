package eventlog_test

import (
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// What a newer program wrote is walked as anything else is, and counted: whoever asks
// whether all is well hears that this program does not read it.
func TestAScrubCountsWhatOnlyANewerProgramReads_P11(t *testing.T) {
	shop := eventstest.FoundShop(t, 525)
	from, b := bench2(t, shop)
	l := receiver(t, shop)
	at := from.evs[len(from.evs)-1]
	for n := range byte(3) {
		record, err := events.EncodeRecord(events.Envelope{ID: events.EventID{9, n}, Kind: 60_000, About: unit}, []byte{0xa0})
		if err == nil {
			at, err = events.Link(at.Head(), record)
		}
		if err != nil {
			t.Fatal(err)
		}
		from.evs = append(from.evs, at)
	}
	from.head = signedAt(t, b, at)
	takeRuns(t, l, from)
	viewOf(t, l, func(v *eventlog.View) error {
		s, err := v.Scrub(nil)
		if s.Newer != 3 || s.Events != uint64(len(from.evs)) {
			t.Errorf("%+v of %d events, three of them newer", s, len(from.evs))
		}
		return err
	})
}
