package app

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/wholefile"
	"oldhand/projections"
)

// Software is what a feed's first event says wrote it.
const Software = "oldhand 1"

// Card says whose a data folder is. It holds no secret.
type Card struct {
	Format int    `json:"format"`
	Shop   string `json:"shop"` // the shop's id
	Name   string `json:"name"`
	Bench  string `json:"bench"`
	Number uint32 `json:"number"` // of the bench's tags; 0 before it is admitted
}

// Shop is an open data folder.
type Shop struct {
	Dir  string
	Card Card
	Log  *eventlog.Log
	now  func() time.Time
	key  events.BenchKey // zero where it is only looked at

	noViews   bool // what follows from the events is not needed
	answers   *projections.Answers
	customers *projections.Customers
	meeting   *sync.Mutex // held while something is exchanged; lent shops share it
	lent      bool
	anew      madeAnew
	veiled    bool     // see Veiled
	sending   *sending // the form that an action saves; nil for most
	words     *offered[Word]
	sheets    *keptSheets
	scrubbing *sync.Mutex // over what is kept of scrubs; lent shops share it
}

// ErrStale is returned when a folder is opened for looking and its projections
// were made by another version or not to the end, or somebody is to be forgotten
// who is not so far. Opening it for writing makes
// them anew.
var ErrStale = errors.New("what follows from the events has to be made anew, with: oldhand rebuild")

// Options are what tests and the demo set; a person's program leaves them be.
type Options struct {
	ReadOnly bool
	Now      func() time.Time
	State    string            // folder of the witness; empty for the platform's
	Warn     func(text string) // what a person may want to know
	Boot     *string           // nil for the machine's boot id
	Wait     time.Duration     // for another program to leave the folder
	Stop     <-chan struct{}   // ends that waiting; nil for never
	Ballast  bool
	Around   Looker      // for exchanges on the local network; nil to look nowhere
	In       *Shop       // lent by the process that has the folder open; nil to open it
	Kept     func() bool // whether another process keeps the folder, so that waiting is of no use

	EventsOnly bool // only the events are looked at, as an export does
	Bulk       bool // very much is to be taken in
}

// DefaultDir is the data folder that is used when none is named.
func DefaultDir() (string, error) {
	if dir := os.Getenv("OLDHAND_SHOP"); dir != "" {
		return dir, nil
	}
	if dir := os.Getenv("XDG_DATA_HOME"); dir != "" {
		return filepath.Join(dir, "oldhand"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("find a place for the shop's data: %w", err)
	}
	if cfg, err := os.UserConfigDir(); err == nil && cfg != filepath.Join(home, ".config") {
		return filepath.Join(cfg, "oldhand"), nil
	}
	return filepath.Join(home, ".local", "share", "oldhand"), nil
}

func (o Options) warn(text string) {
	if o.Warn != nil {
		o.Warn(text)
	}
}

func (o Options) stateDir() (string, error) {
	if o.State != "" {
		return o.State, nil
	}
	if dir := os.Getenv("OLDHAND_STATE"); dir != "" {
		return dir, nil
	}
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "oldhand"), nil
}

// Found makes a new shop with its first bench in an empty or absent folder.
func Found(dir, shopName, benchName string, o Options) (*Shop, error) {
	if err := mustBeFree(dir); err != nil {
		return nil, err
	}
	owner, err := events.NewOwnerKey()
	if err != nil {
		return nil, err
	}
	bench, err := events.NewBenchKey()
	if err != nil {
		return nil, err
	}
	var nonce [16]byte
	if err := random(nonce[:]); err != nil {
		return nil, err
	}
	return FoundWith(dir, Founding{shopName, benchName, owner, bench, nonce, events.AtTime(o.clock()())}, o)
}

// Founding is all that makes one shop differ from another.
type Founding struct {
	Shop, Bench string
	Owner, Key  events.BenchKey
	Nonce       [16]byte
	At          events.When
}

// FoundWith makes a new shop of given keys.
func FoundWith(dir string, f Founding, o Options) (*Shop, error) {
	founded, err := f.Owner.Found(f.Shop, f.Nonce)
	if err != nil {
		return nil, err
	}
	if err := founded.Validate(); err != nil {
		return nil, err
	}
	bench, err := f.Key.Public()
	if err != nil {
		return nil, err
	}
	admitted, err := f.Owner.Admit(founded.Shop(), bench, f.Bench, 1)
	if err != nil {
		return nil, err
	}
	if err := admitted.Validate(); err != nil {
		return nil, err
	}
	card := Card{1, founded.Shop().String(), f.Shop, f.Bench, 1}
	if err := layKeys(dir, map[string]events.BenchKey{"bench.key": f.Key, "owner.key": f.Owner}); err != nil {
		return nil, err
	}
	s, err := openAs(dir, card, o, true)
	if err != nil {
		return nil, err
	}
	err = s.act(func(tx *eventlog.Tx) error {
		for _, b := range []events.Body{founded, admitted} {
			if _, err := tx.Add(events.Draft{At: f.At, Body: b}); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		err = layCard(dir, card) // last, so that a folder with a card is a whole one
	}
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// mustBeFree refuses a folder that holds anything already.
func mustBeFree(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, "shop.json")); err == nil {
		return &HasShop{dir}
	}
	if len(entries) > 0 {
		return fmt.Errorf("%s is not empty and holds no shop; name another folder with --shop", dir)
	}
	return nil
}

// lay writes a folder's keys and card.
func lay(dir string, c Card, keys map[string]events.BenchKey) error {
	if err := layKeys(dir, keys); err != nil {
		return err
	}
	return layCard(dir, c)
}

func layKeys(dir string, keys map[string]events.BenchKey) error {
	if err := os.MkdirAll(filepath.Join(dir, "keys"), 0o700); err != nil {
		return err
	}
	for name, k := range keys {
		seed, err := k.Seed()
		if err != nil {
			return err
		}
		if err := wholefile.Write(filepath.Join(dir, "keys", name), append(seed, '\n')); err != nil {
			return err
		}
	}
	return nil
}

func layCard(dir string, c Card) error {
	text, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	return wholefile.Write(filepath.Join(dir, "shop.json"), append(text, '\n'))
}

// Open opens a data folder.
func Open(dir string, o Options) (*Shop, error) {
	if o.In != nil && o.In.isFolder(dir) {
		return o.In.Lend(), nil
	}
	return open(dir, o, false)
}

func open(dir string, o Options, create bool) (*Shop, error) {
	card, err := readCard(dir)
	if err != nil {
		return nil, err
	}
	return openAs(dir, card, o, create)
}

func openAs(dir string, card Card, o Options, create bool) (*Shop, error) {
	lo, err := logOptions(dir, card, o)
	if err != nil {
		return nil, err
	}
	lo.Create = create
	log, err := openWaiting(lo, o)
	if err != nil {
		return nil, err
	}
	s := newShop(dir, card, log, lo.Key, o.clock())
	s.noViews = o.EventsOnly
	if err := s.settle(o.ReadOnly); err != nil {
		return nil, errors.Join(err, log.Close())
	}
	return s, nil
}

// newShop is a shop whose log is open, of which nothing was asked yet.
func newShop(dir string, c Card, l *eventlog.Log, key events.BenchKey, now func() time.Time) *Shop {
	return &Shop{Dir: dir, Card: c, Log: l, now: now, key: key, answers: &projections.Answers{}, customers: &projections.Customers{}, meeting: &sync.Mutex{},
		words: &offered[Word]{read: wordsOf}, sheets: &keptSheets{offered[Sheet]{read: definedSheets}}, scrubbing: &sync.Mutex{}}
}

// settle has what follows from the events be as the events are.
func (s *Shop) settle(looking bool) error {
	if !looking {
		return s.follow()
	}
	if err := s.freshViews(); err != nil || s.noViews {
		return err
	}
	due, err := s.unheeded()
	if err == nil && due {
		err = fmt.Errorf("%s: %w", s.Dir, ErrStale)
	}
	return err
}

func (o Options) clock() func() time.Time {
	if o.Now == nil {
		return time.Now
	}
	return o.Now
}

func readCard(dir string) (c Card, err error) {
	b, err := os.ReadFile(filepath.Join(dir, "shop.json"))
	if errors.Is(err, fs.ErrNotExist) {
		return c, &NoShop{dir}
	}
	if err != nil {
		return c, err
	}
	if err := json.Unmarshal(b, &c); err != nil {
		return c, fmt.Errorf("%s: %w", filepath.Join(dir, "shop.json"), err)
	}
	if c.Format != 1 {
		return c, fmt.Errorf("%s: format %d: %w", filepath.Join(dir, "shop.json"), c.Format, eventlog.ErrNewer)
	}
	return c, nil
}

func logOptions(dir string, c Card, o Options) (eventlog.Options, error) {
	shop, err := events.ParseShopID(c.Shop)
	if err != nil {
		return eventlog.Options{}, err
	}
	lo := eventlog.Options{Dir: filepath.Join(dir, "store"), Shop: shop, Projector: projections.Engine{}, ReadOnly: o.ReadOnly,
		Software: Software, Now: o.Now, Warn: o.Warn, LeastFree: eventlog.DefaultLeastFree, Ballast: o.Ballast, Bulk: o.Bulk, Boot: eventlog.BootID()}
	if o.Boot != nil {
		lo.Boot = *o.Boot
	}
	seed, err := os.ReadFile(filepath.Join(dir, "keys", "bench.key"))
	if err != nil && o.ReadOnly {
		return lo, nil // looking needs no key
	}
	if err != nil {
		return lo, fmt.Errorf("the bench's key: %w", err)
	}
	if lo.Key, err = events.BenchKeyFrom(trimNewline(seed)); err != nil {
		return lo, fmt.Errorf("the bench's key in %s: %w", dir, err)
	}
	bench, err := lo.Key.Public()
	if err != nil {
		return lo, err
	}
	if state, err := o.stateDir(); err == nil {
		lo.Witness = filepath.Join(state, "witness-"+bench.String())
	}
	return lo, nil
}

// witnessPath is where the witness of a folder's log is; empty for none.
func witnessPath(dir string, o Options) (string, error) {
	card, err := readCard(dir)
	if err != nil {
		return "", err
	}
	lo, err := logOptions(dir, card, o)
	return lo.Witness, err
}

func trimNewline(b []byte) []byte {
	for len(b) > 0 && (b[len(b)-1] == '\n' || b[len(b)-1] == '\r') {
		b = b[:len(b)-1]
	}
	return b
}

// sayWaiting is after how long a wait for the folder is told.
const sayWaiting = 2 * time.Second

// openWaiting opens a log, waiting a while for another program to leave it: a
// command that was started a moment ago is usually done soon.
func openWaiting(lo eventlog.Options, o Options) (*eventlog.Log, error) {
	begun, told := time.Now(), false
	for {
		log, err := eventlog.Open(lo)
		if !errors.Is(err, eventlog.ErrInUse) || time.Since(begun) > o.Wait || o.Kept != nil && o.Kept() {
			return log, err
		}
		if !told && time.Since(begun) > sayWaiting && o.Warn != nil {
			o.Warn("another oldhand has this folder open; waiting for it to end")
			told = true
		}
		select {
		case <-time.After(50 * time.Millisecond):
		case <-o.Stop:
			return nil, err
		}
	}
}

// freshViews rebuilds the projections where they were made by another version
// or were never finished.
func (s *Shop) freshViews() error {
	version, err := s.Log.Views()
	if err != nil || version == projections.Version {
		return err
	}
	if s.Log.Err() != nil {
		if len(s.Log.Heads()) == 0 || s.noViews {
			return nil
		}
		return fmt.Errorf("%s: %w", s.Dir, ErrStale)
	}
	begun := time.Now()
	if err := projections.RebuildStore(s.Log); err != nil {
		return err
	}
	s.anew.took = time.Since(begun)
	s.anew.at, err = s.commit()
	return err
}

// Close closes the folder, unless it is lent.
func (s *Shop) Close() error {
	if s.lent {
		return nil
	}
	return s.Log.Close()
}
