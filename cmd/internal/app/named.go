package app

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/meet"
)

// naming is which pieces the events name, with how far each feed was looked
// through. It is a note beside the pieces, so that ten years of events are not read
// for ten photos; without it they are.
type naming struct {
	Format int               `json:"format"`
	Feeds  map[string]uint64 `json:"feeds"` // the number of the event looked at last
	Pieces []namedPiece      `json:"pieces"`
}

// namedPiece is a piece with the event that names it.
type namedPiece struct {
	Content string        `json:"content"`
	Size    int64         `json:"size"`
	Event   string        `json:"event"`
	Feed    events.FeedID `json:"-"`
	Text    string        `json:"feed"`
	Seq     uint64        `json:"seq"`
}

const namedNote = "named.json"

// named reads the note and looks through the events that came since.
func (s *Shop) named() (n naming, err error) {
	b, err := s.pieces().Noted(namedNote)
	if err != nil {
		return n, err
	}
	n = readNamed(b)
	looked := false
	err = s.view(func(v *eventlog.View) error {
		heads, err := v.Heads()
		if err != nil {
			return err
		}
		if !n.fits(heads) {
			n = readNamed(nil)
		}
		for _, h := range heads {
			if n.Feeds[h.Feed.String()] < h.Seq {
				looked = true
				if err := n.look(v, h); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil || !looked || s.Log.Err() != nil || len(n.Pieces) == 0 && len(b) == 0 {
		return n, err
	}
	if b, err = json.Marshal(n); err != nil {
		return n, err
	}
	_ = s.pieces().Note(namedNote, b) // without it the events are read again
	return n, nil
}

func readNamed(b []byte) (n naming) {
	if len(b) > 0 && json.Unmarshal(b, &n) == nil && n.Format == 1 && n.Feeds != nil {
		sound := true
		for i := range n.Pieces {
			sound = n.Pieces[i].Feed.UnmarshalText([]byte(n.Pieces[i].Text)) == nil && sound
		}
		if sound {
			return n
		}
	}
	return naming{Format: 1, Feeds: map[string]uint64{}}
}

// fits reports whether the note is of this log: one that was put back to an older
// copy has fewer events than were looked at.
func (n naming) fits(heads []events.Head) bool {
	have := map[string]uint64{}
	for _, h := range heads {
		have[h.Feed.String()] = h.Seq
	}
	for feed, seq := range n.Feeds {
		if have[feed] < seq {
			return false
		}
	}
	return true
}

// look looks through what is new of a feed.
func (n *naming) look(v *eventlog.View, head events.Head) error {
	feed := head.Feed.String()
	err := v.Feed(head.Feed, n.Feeds[feed], func(e events.Event) (bool, error) {
		if e.Kind != events.KindEvidenceAttached {
			return true, nil
		}
		if body, err := e.Body(); err == nil {
			if b, ok := body.(events.EvidenceAttached); ok {
				n.Pieces = append(n.Pieces, namedPiece{b.Content.String(), b.Size, e.ID.String(), e.Feed, feed, e.Seq})
			}
		}
		return true, nil
	})
	n.Feeds[feed] = head.Seq
	return err
}

// bench is where a piece was attached first; zero where no event names it.
func (n naming) bench(h events.Hash) (id events.BenchID) {
	first := ""
	for _, p := range n.Pieces {
		if p.Content == h.String() && (first == "" || p.Event < first) {
			first, id = p.Event, p.Feed.Bench
		}
	}
	return id
}

// wanted are the pieces that count, the newest first. Events behind a cut of a
// retired bench name nothing.
func (n naming) wanted(cuts map[events.FeedID]uint64) (list []meet.Named) {
	pieces := slices.Clone(n.Pieces)
	slices.SortFunc(pieces, func(a, b namedPiece) int { return bytes.Compare([]byte(b.Event), []byte(a.Event)) })
	seen := map[meet.Named]bool{}
	for _, p := range pieces {
		if last, cut := cuts[p.Feed]; cut && p.Seq > last {
			continue
		}
		m := meet.Named{Size: p.Size}
		if readHash(&m.Content, p.Content) && !seen[m] {
			seen[m] = true
			list = append(list, m)
		}
	}
	return list
}

func readHash(h *events.Hash, text string) bool {
	b, err := hex.DecodeString(text)
	return err == nil && len(b) == len(h) && copy(h[:], b) == len(h)
}
