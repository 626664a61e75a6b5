package app

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

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
	Unread uint64 `json:"made_by_a_newer_version,omitempty"` // of the events
	Wrong  string `json:"wrong,omitempty"`

	Attached VerifiedPieces `json:"attached"`
}

// VerifiedPieces says what a check of the photos, recordings and papers found.
type VerifiedPieces struct {
	Here    int      `json:"here"`
	Bytes   int64    `json:"bytes"`
	Away    int      `json:"away"` // that entries name, and are not here
	Damaged []string `json:"damaged,omitempty"`
}

// Verify walks every chain, reads every photo and recording, and compares what follows from the events, as it
// is kept, with what follows when it is made anew.
func (s *Shop) Verify(progress func(done uint64)) (res Verified, err error) {
	err = s.view(func(v *eventlog.View) error {
		scrubbed, err := v.Scrub(progress)
		if err != nil {
			return err
		}
		res.Events, res.Feeds, res.Unread = scrubbed.Events, scrubbed.Feeds, scrubbed.Newer
		kept, err := projections.DigestViews(v)
		if err != nil {
			return err
		}
		made := projections.Digest{}
		var mu sync.Mutex
		if err := projections.Rebuild(v.Records, projections.TempScratch, func(k, v []byte) error {
			mu.Lock()
			defer mu.Unlock()
			return made.Add(k, v)
		}); err != nil {
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
	if err == nil {
		err = s.verifyPieces(&res)
	}
	return res, err
}

// verifyPieces reads every piece against its hash. A damaged one is put aside: what
// is here keeps a bench from fetching it.
func (s *Shop) verifyPieces(res *Verified) error {
	n, err := s.named()
	if err != nil {
		return err
	}
	scrubbed, err := s.pieces().Scrub(nil)
	if err != nil {
		return err
	}
	res.Attached.Here, res.Attached.Bytes = scrubbed.Pieces, scrubbed.Bytes
	seen := map[events.Hash]bool{}
	for _, p := range n.wanted(s.Log.Cuts()) {
		_, here, err := s.pieces().Size(p.Content)
		if err != nil {
			return err
		}
		if !here && !seen[p.Content] {
			res.Attached.Away++
		}
		seen[p.Content] = true
	}
	var aside error
	for _, h := range scrubbed.Damaged {
		res.OK = false
		res.Attached.Damaged = append(res.Attached.Damaged, h.String())
		aside = errors.Join(aside, s.pieces().Aside(h))
	}
	if len(scrubbed.Damaged) > 0 {
		res.Wrong = joinWords(res.Wrong, fmt.Sprintf("photos and recordings damaged on the disk: %d; they are put aside, so that oldhand sync fetches them again, and attaching the same file again mends one too", len(scrubbed.Damaged)))
	}
	return aside
}

// tally counts units and visits.
func (s *Shop) tally(v *eventlog.View, res *Verified) error {
	return projections.EachHistory(v, func(h *projections.History) (bool, error) {
		if len(h.Visits) > 0 {
			res.Units++
			res.Visits += len(h.Visits)
		}
		return true, nil
	})
}

// digestOf is one hash over how far every feed goes and all projections. Heads
// come in the order of the feeds' names.
func digestOf(heads []events.Head, views projections.Digest) string {
	h := sha256.New()
	writeHeads(h, heads)
	h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(heads))))
	h.Write([]byte(views.String()))
	return hex.EncodeToString(h.Sum(nil))
}

// writeHeads writes a line for each head.
func writeHeads(w io.Writer, heads []events.Head) {
	for _, head := range heads {
		fmt.Fprintf(w, "%s %d %s\n", head.Feed, head.Seq, head.Hash)
	}
}

// madeAnew is that all projections were made anew by opening the folder, how long that
// took and after which commit. The zero one is that they were not.
type madeAnew struct {
	took time.Duration
	at   uint64
}

// Rebuild makes all projections anew, and says how long that took. Of a folder that
// another version left, opening it has just done that; nothing changed since.
func (s *Shop) Rebuild() (took time.Duration, err error) {
	at, err := s.commit()
	if err != nil {
		return 0, err
	}
	if done := s.anew; done.took > 0 && done.at == at {
		s.anew = madeAnew{}
		return done.took, nil
	}
	begun := time.Now()
	err = projections.RebuildStore(s.Log)
	return time.Since(begun), err
}

// commit numbers the last commit.
func (s *Shop) commit() (uint64, error) {
	v, err := s.Log.View()
	if err != nil {
		return 0, err
	}
	defer v.Close()
	return v.Commit(), nil
}
