package replicate

import (
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/roster"
)

// cut lets the log know how far the feeds of retired benches count. What counts
// by number but is of another branch does not: of that nothing does (P12).
func (in *Inbox) cut() error {
	if in.reading || in.book == nil {
		return nil
	}
	cuts, retired := map[eventlog.Branch]uint64{}, false
	r := in.book.Roster()
	own, err := in.own.Public()
	for _, b := range r.Benches() {
		retired = retired || b.Retired && err == nil && b.ID == own
	}
	for f, h := range in.here {
		b, ok := r.Bench(f.Bench)
		if !ok || !b.Retired {
			continue
		}
		upTo, _ := r.Counted(f)
		if upTo >= h.Seq && r.Counts(h).Counts() {
			continue
		}
		if upTo = min(upTo, h.Seq); !in.onBranch(r, f, upTo) {
			upTo = 0
		}
		cuts[eventlog.First(f)] = upTo
	}
	return in.log.SetCuts(cuts, retired)
}

// cutIf cuts where the roster may be another than before.
func (in *Inbox) cutIf(changed bool) error {
	if !changed {
		return nil
	}
	return in.cut()
}

// onBranch reports whether the event up to which a feed counts is the one here.
func (in *Inbox) onBranch(r roster.Roster, f events.FeedID, upTo uint64) bool {
	hash, ok, err := in.log.HashAt(f, upTo)
	return err == nil && ok && r.Counts(events.Head{Feed: f, Seq: upTo, Hash: hash}).Counts()
}

// Hear notes signed heads that somebody had, as a bundle tells: what goes further
// than what is here is known to be missing (P9). A head that is not signed by its
// bench for this shop is not heard.
func (in *Inbox) Hear(heads []events.SignedHead) error {
	var marks []Mark
	for _, s := range heads {
		if s.Verify(in.shop) != nil || s.Seq <= in.here[s.Feed].Seq || !in.weighs(s, in.known[s.Feed]) {
			continue
		}
		in.known[s.Feed] = s
		marks = append(marks, headMark(s))
	}
	if len(marks) == 0 {
		return nil
	}
	return in.log.Receive(nil, nil, marks)
}
