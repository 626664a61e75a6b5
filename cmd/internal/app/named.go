package app

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"runtime"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/meet"

	"golang.org/x/sync/errgroup"
)

// naming is which pieces the events name, with how far each feed was looked
// through. It is a note beside the pieces, so that ten years of events are not read
// for ten photos; without it they are.
type naming struct {
	Format int               `json:"format"`
	Feeds  map[string]uint64 `json:"feeds"` // of each branch the number of the event looked at last
	Pieces []namedPiece      `json:"pieces"`
}

// namedPiece is a piece with the event that names it.
type namedPiece struct {
	Content string          `json:"content"`
	Size    int64           `json:"size"`
	Event   string          `json:"event"`
	Branch  eventlog.Branch `json:"branch"`
	Seq     uint64          `json:"seq"`
}

const (
	namedNote   = "named.json"
	namedFormat = 2
)

// worthNoting is how many events it takes to look through for a note to be kept where
// none of them names a piece: a shop without photos is not read whole at each meeting,
// and a small one gets no folder for them.
const worthNoting = 5_000

// named reads the note and looks through the events that came since.
func (s *Shop) named() (n naming, err error) {
	b, err := s.pieces().Noted(namedNote)
	if err != nil {
		return n, err
	}
	n = readNamed(b)
	looked := 0
	err = s.view(func(v *eventlog.View) error {
		branches := s.Log.Branches()
		if !n.fits(branches) {
			n = readNamed(nil)
		}
		looked, err = n.lookAll(v, branches)
		return err
	})
	known := len(n.Pieces) > 0 || len(b) > 0 || looked >= worthNoting
	if err != nil || looked == 0 || s.Log.Err() != nil || !known {
		return n, err
	}
	if b, err = json.Marshal(n); err != nil {
		return n, err
	}
	_ = s.pieces().Note(namedNote, b) // without it the events are read again
	return n, nil
}

func readNamed(b []byte) (n naming) {
	if len(b) > 0 && json.Unmarshal(b, &n) == nil && n.Format == namedFormat && n.Feeds != nil {
		return n
	}
	return naming{Format: namedFormat, Feeds: map[string]uint64{}}
}

// branchText names a branch in the note.
func branchText(b eventlog.Branch) string { return b.Feed.String() + " " + b.Root.String() }

// fits reports whether the note is of this log: one that was put back to an older
// copy has fewer events than were looked at.
func (n naming) fits(branches []eventlog.Reach) bool {
	have := map[string]uint64{}
	for _, b := range branches {
		have[branchText(b.Branch)] = b.Head.Seq
	}
	for branch, seq := range n.Feeds {
		if have[branch] < seq {
			return false
		}
	}
	return true
}

// looking is what is new of a branch.
type looking struct {
	eventlog.Reach
	last   uint64 // the event looked at last
	count  int
	pieces []namedPiece
}

// lookAll looks through what is new of all branches, side by side, and says how many
// events that was.
func (n *naming) lookAll(v *eventlog.View, branches []eventlog.Reach) (count int, err error) {
	var todo []*looking
	for _, b := range branches {
		if last := n.Feeds[branchText(b.Branch)]; last < b.Head.Seq {
			todo = append(todo, &looking{Reach: b, last: max(last, b.Base.Seq)})
		}
	}
	var looks errgroup.Group
	looks.SetLimit(runtime.GOMAXPROCS(0))
	for _, b := range todo {
		looks.Go(func() error { return b.look(v) })
	}
	err = looks.Wait()
	for _, b := range todo {
		n.Feeds[branchText(b.Branch)] = b.last
		n.Pieces = append(n.Pieces, b.pieces...)
		count += b.count
	}
	return count, err
}

// look looks through it. The view may be older than what the log says of the branch by
// now; what it does not have is looked at next time.
func (l *looking) look(v *eventlog.View) error {
	return v.BranchEvents(l.Branch, l.last, func(e events.Event) (bool, error) {
		l.last = e.Seq
		l.count++
		if e.Kind != events.KindEvidenceAttached {
			return true, nil
		}
		if body, err := e.Body(); err == nil {
			if b, ok := body.(events.EvidenceAttached); ok {
				l.pieces = append(l.pieces, namedPiece{b.Content.String(), b.Size, e.ID.String(), l.Branch, e.Seq})
			}
		}
		return true, nil
	})
}

// bench is where a piece was attached first; zero where no event names it.
func (n naming) bench(h events.Hash) (id events.BenchID) {
	first := ""
	for _, p := range n.Pieces {
		if p.Content == h.String() && (first == "" || p.Event < first) {
			first, id = p.Event, p.Branch.Feed.Bench
		}
	}
	return id
}

// wanted are the pieces that count, the newest first. Events behind a cut of a
// retired bench name nothing.
func (n naming) wanted(cuts map[eventlog.Branch]uint64) (list []meet.Named) {
	pieces := slices.Clone(n.Pieces)
	slices.SortFunc(pieces, func(a, b namedPiece) int { return bytes.Compare([]byte(b.Event), []byte(a.Event)) })
	seen := map[meet.Named]bool{}
	for _, p := range pieces {
		if last, cut := cuts[p.Branch]; cut && p.Seq > last {
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
