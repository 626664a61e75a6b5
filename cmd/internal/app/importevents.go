package app

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// ReadIn says what reading an export in came to.
type ReadIn struct {
	Events int  `json:"events"` // new ones
	Known  int  `json:"known"`  // that were here already
	Feeds  int  `json:"feeds"`
	Keys   int  `json:"person_keys"`
	Made   bool `json:"made_folder"`
}

// exportFile is an export that was looked through once: every chain in it was
// linked and every head checked.
type exportFile struct {
	path  string
	shop  events.ShopID
	name  string
	heads map[events.FeedID][]events.SignedHead // of each feed, rising; the last is its end
	keys  map[events.PersonID]events.PersonKey
	left  map[string]bool // hashes of events that branches leave, and whether they came
}

// longestLine is the longest line an export can have: a record in base64 and
// its data as text.
const longestLine = 1 << 20

// IsExport reports whether a file looks like an export of events rather than
// an old book.
func IsExport(data []byte) bool {
	line, _, _ := bytes.Cut(data, []byte("\n"))
	var c cloudEvent
	return json.Unmarshal(line, &c) == nil && c.SpecVersion != "" && c.Type == typeShop
}

// checkExport reads an export through and checks all of it before anything is
// taken: form, links, signatures, and that it is of one shop.
func checkExport(path string) (*exportFile, error) {
	x := &exportFile{path: path, heads: map[events.FeedID][]events.SignedHead{}, keys: map[events.PersonID]events.PersonKey{}, left: map[string]bool{}}
	chains := map[events.FeedID]events.Head{}
	founded := false
	err := x.each(func(line int, c cloudEvent, ev func(events.Head) (events.Event, error)) error {
		switch c.Type {
		case typeShop:
			return x.readShop(c)
		case typeHead:
			return x.readHead(c, chains)
		case typeKey:
			return x.readKey(c)
		}
		f, err := feedOf(c)
		if err != nil {
			return err
		}
		if c.Previous != "" {
			if err := x.leaves(c, chains[f]); err != nil {
				return err
			}
		}
		head, err := follows(c, f, chains)
		if err != nil {
			return err
		}
		e, err := ev(head)
		if err != nil {
			return err
		}
		founded = founded || x.founds(e)
		chains[f] = e.Head()
		if h := e.Hash.String(); len(x.left) > 0 {
			if _, ok := x.left[h]; ok {
				x.left[h] = true
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, h := range chains {
		if err := x.ends(h); err != nil {
			return nil, fmt.Errorf("%s: %w: the file was cut off", path, err)
		}
	}
	if !founded {
		return nil, fmt.Errorf("%s: the founding of its shop is not in it", path)
	}
	return x, nil
}

// ends checks that a signed head stands where a branch of a feed ends.
func (x *exportFile) ends(at events.Head) error {
	if signed := x.heads[at.Feed]; len(signed) == 0 || signed[len(signed)-1].Head != at {
		return fmt.Errorf("feed %s ends at event %d and its signed head is missing", at.Feed.Short(), at.Seq)
	}
	return nil
}

// leaves checks an event that begins another branch: the one before it is whole,
// and the event that it follows came.
func (x *exportFile) leaves(c cloudEvent, before events.Head) error {
	if before.Seq == 0 {
		return fmt.Errorf("another branch of a feed that did not begin: %w", events.ErrLink)
	}
	if c.Sequence != "1" && !x.left[c.Previous] {
		return fmt.Errorf("a branch leaves event %.8s, which is not before it: %w", c.Previous, events.ErrLink)
	}
	return x.ends(before)
}

// follows is the head that an event's line follows: the end of what was read of
// its feed, or, where it begins another branch, the event that it names.
func follows(c cloudEvent, f events.FeedID, chains map[events.FeedID]events.Head) (h events.Head, err error) {
	if c.Previous == "" {
		h = chains[f]
		h.Feed = f
		return h, nil
	}
	h.Feed = f
	if h.Seq, err = strconv.ParseUint(c.Sequence, 10, 64); err != nil || h.Seq == 0 {
		return h, fmt.Errorf("sequence %q: %w", c.Sequence, events.ErrMalformed)
	}
	h.Seq--
	hash, err := hex.DecodeString(c.Previous)
	if err != nil || len(hash) != len(h.Hash) {
		return h, fmt.Errorf("previous %q: %w", c.Previous, events.ErrMalformed)
	}
	copy(h.Hash[:], hash)
	return h, nil
}

// founds reports whether an event founds the file's shop; its name then goes
// by what was founded.
func (x *exportFile) founds(e events.Event) bool {
	if e.Kind != events.KindShopFounded {
		return false
	}
	b, err := e.Body()
	f, ok := b.(events.ShopFounded)
	if err != nil || !ok || f.Validate() != nil || f.Shop() != x.shop {
		return false
	}
	x.name = f.Name
	return true
}

// each calls fn with every line and a way to link its event.
func (x *exportFile) each(fn func(line int, c cloudEvent, ev func(events.Head) (events.Event, error)) error) error {
	f, err := os.Open(x.path)
	if err != nil {
		return err
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Buffer(make([]byte, 1<<16), longestLine)
	for n := 1; lines.Scan(); n++ {
		var c cloudEvent
		if err := json.Unmarshal(lines.Bytes(), &c); err != nil {
			return fmt.Errorf("%s: line %d: %w", x.path, n, err)
		}
		if c.SpecVersion != "1.0" {
			return fmt.Errorf("%s: line %d: not a CloudEvent 1.0", x.path, n)
		}
		err := fn(n, c, func(head events.Head) (events.Event, error) { return linkLine(c, head) })
		if err != nil {
			return fmt.Errorf("%s: line %d: %w", x.path, n, err)
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("%s: %w", x.path, err)
	}
	return nil
}

func linkLine(c cloudEvent, head events.Head) (events.Event, error) {
	if c.Sequence != strconv.FormatUint(head.Seq+1, 10) {
		return events.Event{}, fmt.Errorf("event %s where %d should follow: %w", c.Sequence, head.Seq+1, events.ErrLink)
	}
	record, err := base64.StdEncoding.DecodeString(c.Record)
	if err != nil {
		return events.Event{}, fmt.Errorf("record: %w", err)
	}
	return events.Link(head, record)
}

func feedOf(c cloudEvent) (f events.FeedID, err error) {
	return f, f.UnmarshalText([]byte(c.Feed))
}

func (x *exportFile) readShop(c cloudEvent) error {
	text, _ := c.Data["shop"].(string)
	id, err := events.ParseShopID(text)
	if err != nil {
		return err
	}
	if x.shop != (events.ShopID{}) && x.shop != id {
		return errors.New("the file holds two shops")
	}
	x.shop = id
	left, _ := c.Data["left"].([]any)
	for _, h := range left {
		if hash, ok := h.(string); ok {
			x.left[hash] = false
		}
	}
	return nil
}

func (x *exportFile) readHead(c cloudEvent, chains map[events.FeedID]events.Head) (err error) {
	var s events.SignedHead
	if s.Feed, err = feedOf(c); err != nil {
		return err
	}
	hash, _ := c.Data["hash"].(string)
	sig, _ := c.Data["signature"].(string)
	hashBytes, err := hex.DecodeString(hash)
	if err != nil {
		return fmt.Errorf("hash: %w", err)
	}
	sigBytes, err := base64.StdEncoding.DecodeString(sig)
	if err != nil {
		return fmt.Errorf("signature: %w", err)
	}
	if len(hashBytes) != len(s.Hash) || len(sigBytes) != len(s.Signature) {
		return events.ErrMalformed
	}
	copy(s.Hash[:], hashBytes)
	copy(s.Signature[:], sigBytes)
	if s.Seq, err = strconv.ParseUint(c.Sequence, 10, 64); err != nil {
		return fmt.Errorf("sequence: %w", err)
	}
	if err := s.Verify(x.shop); err != nil {
		return err
	}
	if have := chains[s.Feed]; have != s.Head {
		return fmt.Errorf("head says event %d (%s), the events before it end at %d (%s): %w", s.Seq, s.Hash.Short(), have.Seq, have.Hash.Short(), events.ErrLink)
	}
	x.heads[s.Feed] = append(x.heads[s.Feed], s)
	return nil
}

func (x *exportFile) readKey(c cloudEvent) error {
	id, err := events.ParsePersonID(c.Subject)
	if err != nil {
		return err
	}
	text, _ := c.Data["key"].(string)
	b, err := base64.StdEncoding.DecodeString(text)
	var k events.PersonKey
	if err != nil || len(b) != len(k) {
		return fmt.Errorf("key of person %s: %w", c.Subject, events.ErrMalformed)
	}
	copy(k[:], b)
	x.keys[id] = k
	return nil
}

// ReadExport takes an export of this shop in: events that are not here yet, and
// keys. The whole file is checked before the first is taken.
func (s *Shop) ReadExport(path string, progress func(int)) (res ReadIn, err error) {
	x, err := checkExport(path)
	if err != nil {
		return res, err
	}
	return s.takeExport(x, progress)
}

func (s *Shop) takeExport(x *exportFile, progress func(int)) (res ReadIn, err error) {
	if x.shop != s.Log.Shop() {
		return res, &Wrong{x.path, "is another shop's file; nothing of it was taken"}
	}
	res.Feeds = len(x.heads)
	t := taking{shop: s, catching: s.catchingUp(), progress: progress, most: perCommitFollowed, passed: map[events.FeedID]int{}}
	chains := map[events.FeedID]events.Head{}
	err = x.each(func(_ int, c cloudEvent, ev func(events.Head) (events.Event, error)) error {
		if c.Type == typeShop || c.Type == typeKey {
			return nil
		}
		f, err := feedOf(c)
		if err != nil {
			return err
		}
		if c.Type == typeHead {
			return t.head(f, x.heads[f])
		}
		head, err := follows(c, f, chains)
		if err != nil {
			return err
		}
		e, err := ev(head)
		if err != nil {
			return err
		}
		chains[f] = e.Head()
		return t.take(e)
	})
	res.Events = t.catching.came()
	res.Known = t.read - res.Events
	if err == nil && len(x.keys) > 0 {
		res.Keys, err = s.keepKeys(x.keys)
	}
	return res, errors.Join(err, s.follow())
}

// taking collects events for a commit.
type taking struct {
	shop     *Shop
	catching *catchingUp
	progress func(int)
	read     int // events
	waiting  []events.Event
	most     int                   // how many may wait
	heads    []events.SignedHead   // that cover what waits
	passed   map[events.FeedID]int // how many heads of each feed were read: feeds may stand in one another
}

// head notes the next signed head of a feed, which ends with the last of them.
func (t *taking) head(f events.FeedID, of []events.SignedHead) error {
	n := t.passed[f]
	if n >= len(of) {
		return fmt.Errorf("feed %s has a head more than when it was looked through: the file changes while it is read: %w", f.Short(), events.ErrLink)
	}
	t.heads = append(t.heads, of[n])
	if t.passed[f]++; n+1 < len(of) {
		return nil
	}
	return t.flush()
}

func (t *taking) take(e events.Event) error {
	t.read++
	t.waiting = append(t.waiting, e)
	if len(t.waiting) >= t.most {
		return t.flush()
	}
	return nil
}

func (t *taking) flush() error {
	err := t.shop.takeChecked(t.waiting, nil, t.heads)
	if err == nil && !t.catching.later {
		err = t.catching.took(t.catching.came())
	}
	if t.catching.later {
		t.most = perCommit(t.shop.eventsHere())
	}
	t.waiting, t.heads = t.waiting[:0], t.heads[:0]
	if t.progress != nil {
		t.progress(t.read)
	}
	return err
}

// keepKeys adds keys of persons that have none here.
func (s *Shop) keepKeys(keys map[events.PersonID]events.PersonKey) (n int, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		for p, k := range keys {
			_, err := tx.PersonKey(p)
			if err == nil {
				continue
			}
			if !errors.Is(err, events.ErrForgotten) {
				return err
			}
			if err := tx.PutPersonKey(p, k); errors.Is(err, events.ErrForgotten) {
				continue // for ever, and this is an old copy
			} else if err != nil {
				return err
			}
			n++
		}
		return nil
	})
	return n, err
}

// FromExport makes a data folder of an export: a reading copy of the shop with
// a bench key of its own, which counts nowhere before the owner admits it.
func FromExport(dir, path string, o Options, progress func(int)) (s *Shop, res ReadIn, err error) {
	if err := mustBeFree(dir); err != nil {
		return nil, res, err
	}
	x, err := checkExport(path)
	if err != nil {
		return nil, res, err
	}
	key, err := events.NewBenchKey()
	if err != nil {
		return nil, res, err
	}
	card := Card{1, x.shop.String(), x.name, "copy", 0}
	if err := lay(dir, card, map[string]events.BenchKey{"bench.key": key}); err != nil {
		return nil, res, err
	}
	if s, err = open(dir, o, true); err != nil {
		return nil, res, err
	}
	if res, err = s.takeExport(x, progress); err != nil {
		return nil, res, errors.Join(err, s.Close())
	}
	res.Made = true
	return s, res, nil
}

// takeChecked appends a piece of feeds that were checked whole, up to heads
// that cover more than the piece. Each event is linked once more as it is
// taken; the heads are kept with the last piece.
func (s *Shop) takeChecked(evs []events.Event, keys map[events.PersonID]events.PersonKey, heads []events.SignedHead) error {
	for _, h := range heads {
		if err := h.Verify(s.Log.Shop()); err != nil {
			return err
		}
	}
	return s.act(func(tx *eventlog.Tx) error {
		for _, e := range evs {
			if err := tx.TakeBranch(e); err != nil {
				return err
			}
		}
		for p, k := range keys {
			if err := tx.PutPersonKey(p, k); err != nil && !errors.Is(err, events.ErrForgotten) {
				return err
			}
		}
		for _, h := range heads {
			if err := tx.KeepHead(h); err != nil {
				return err
			}
		}
		return nil
	})
}
