package app

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Verified says what a check of the whole folder found.
type Verified struct {
	Events uint64 `json:"events"`
	Feeds  int    `json:"feeds"`
	Units  int    `json:"units"`
	Visits int    `json:"visits"`
	Digest string `json:"digest"` // equal where the events and what follows from them are
	OK     bool   `json:"ok"`
	Unread int    `json:"made_by_a_newer_version,omitempty"`
	Wrong  string `json:"wrong,omitempty"`
}

// Verify walks every chain, and compares what follows from the events, as it
// is kept, with what follows when it is made anew.
func (s *Shop) Verify(progress func(done uint64)) (res Verified, err error) {
	err = s.view(func(v *eventlog.View) error {
		scrubbed, err := v.Scrub(progress)
		if err != nil {
			return err
		}
		res.Events, res.Feeds = scrubbed.Events, scrubbed.Feeds
		kept, err := projections.DigestViews(v)
		if err != nil {
			return err
		}
		made := projections.Digest{}
		if err := projections.Rebuild(v.Each, res.Events, made.Add); err != nil {
			return err
		}
		res.OK = true
		if differ := kept.Differs(made); len(differ) > 0 {
			res.OK = false
			res.Wrong = fmt.Sprintf("%s differ from what the events say; mend it with: oldhand rebuild", strings.Join(differ, ", "))
		}
		heads, err := v.CountedHeads()
		if err != nil {
			return err
		}
		res.Digest = digestOf(heads, made)
		return s.tally(v, &res)
	})
	return res, err
}

// tally counts units and visits.
func (s *Shop) tally(v *eventlog.View, res *Verified) error {
	return projections.EachHistory(v, func(h *projections.History) (bool, error) {
		if len(h.Visits) > 0 {
			res.Units++
			res.Visits += len(h.Visits)
		}
		for _, e := range entriesOf(h) {
			if e.Decode() == nil {
				res.Unread++
			}
		}
		return true, nil
	})
}

// digestOf is one hash over how far every feed goes and all projections. Heads
// come in the order of the feeds' names.
func digestOf(heads []events.Head, views projections.Digest) string {
	h := sha256.New()
	for _, head := range heads {
		fmt.Fprintf(h, "%s %d %s\n", head.Feed, head.Seq, head.Hash)
	}
	h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(heads))))
	h.Write([]byte(views.String()))
	return hex.EncodeToString(h.Sum(nil))
}

// Rebuild makes all projections anew.
func (s *Shop) Rebuild() error { return projections.RebuildStore(s.Log) }
