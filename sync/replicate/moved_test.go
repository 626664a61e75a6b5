package replicate_test

import (
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// balking is a log that can't be read for a while.
type balking struct {
	replicate.Log
	why error
}

func (b *balking) Facts() ([]events.Event, error) {
	if b.why != nil {
		return nil, b.why
	}
	return b.Log.Facts()
}

// What moved is looked at again where it could not be dealt with: a mark that went
// on would be the end of it until the program starts anew.
func TestWhatMovedWhileTheLogBalkedIsSeenLater_P4(t *testing.T) {
	s := newShop(t, 71, 1)
	d := s.desks[0]
	log := &balking{Log: replicate.OnLog(d.log)}
	b := must(replicate.NewBench(log, s.id, d.key, d.random))
	late := s.bench(9)
	head := d.quietly(must(s.owner.Admit(s.id, late.id, "late", 9)))
	log.why = errors.New("the disk is busy")
	if err := b.Grew(1); !errors.Is(err, log.why) {
		t.Fatalf("grew while the log could not be read: %v", err)
	}
	log.why = nil
	d.ok(b.Grew(2))
	if r, ok := b.Inbox.Roster().Bench(late.id); !ok || r.Name != "late" {
		t.Errorf("who was admitted meanwhile is not known: %+v (%v)", r, ok)
	}
	owes := false
	for _, h := range b.Standing().Owing {
		owes = owes || h == head
	}
	if !owes {
		t.Errorf("what was written meanwhile is not owed: %v", b.Standing().Owing)
	}
}
