package eventstest

import (
	"io"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// Shop is a shop made up for a test, with its owner's key.
type Shop struct {
	ID       events.ShopID
	Owner    events.BenchKey
	Founding events.ShopFounded
	seed     uint64
}

// FoundShop founds the shop of a seed.
func FoundShop(t testing.TB, seed uint64) Shop {
	t.Helper()
	owner := key(t, seed, 0)
	founding, err := owner.Found("Old Mill Radio", [16]byte{byte(seed), byte(seed >> 8)})
	if err != nil {
		t.Fatal(err)
	}
	return Shop{founding.Shop(), owner, founding, seed}
}

// Bench is a laptop of a shop: its key, its clock and its randomness.
type Bench struct {
	Shop   Shop
	Number uint32
	Key    events.BenchKey
	ID     events.BenchID
	Clock  *Clock
	Random io.Reader
}

// Bench is the shop's bench of a number, from 1. Its clock begins at Morning.
func (s Shop) Bench(t testing.TB, number uint32) *Bench {
	t.Helper()
	k := key(t, s.seed, uint64(number))
	id, err := k.Public()
	if err != nil {
		t.Fatal(err)
	}
	return &Bench{s, number, k, id, NewClock(Morning), Seeded(s.seed<<16 + uint64(number))}
}

func key(t testing.TB, seed, number uint64) events.BenchKey {
	t.Helper()
	var random [32]byte
	if _, err := io.ReadFull(Seeded(seed<<20+number), random[:]); err != nil {
		t.Fatal(err)
	}
	k, err := events.BenchKeyOf(random)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// Options are for the bench's log, made where there is none, on a file system
// and in a folder of it. They name no witness and no start of the machine.
func (b *Bench) Options(fs vfs.FS, dir string) eventlog.Options {
	return eventlog.Options{Dir: dir, FS: fs, Shop: b.Shop.ID, Key: b.Key, Create: true,
		Software: "oldhand test", Now: b.Clock.Now, Random: b.Random}
}

// InFolder are options for a log on the machine's disk, with its witness in
// the same folder and under the start of the machine named "boot".
func (b *Bench) InFolder(folder string) eventlog.Options {
	o := b.Options(vfs.Default, folder+"/log")
	o.Witness, o.Boot = folder+"/witness", "boot"
	return o
}

// Open opens a log and closes it when the test is over.
func Open(t testing.TB, o eventlog.Options) *eventlog.Log {
	t.Helper()
	l, err := eventlog.Open(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() }) // a test that cares closes it itself
	return l
}

// OnMem opens the log of a new shop's first bench on a disk in memory that can
// be crashed.
func OnMem(t testing.TB, seed uint64) (*eventlog.Log, *Bench, *vfs.MemFS) {
	t.Helper()
	fs := vfs.NewCrashableMem()
	b := FoundShop(t, seed).Bench(t, 1)
	return Open(t, b.Options(fs, "log")), b, fs
}

// InTemp opens the log of a new shop's first bench in a folder of the test.
func InTemp(t testing.TB, seed uint64) (*eventlog.Log, *Bench, string) {
	t.Helper()
	folder := t.TempDir()
	b := FoundShop(t, seed).Bench(t, 1)
	return Open(t, b.InFolder(folder)), b, folder
}

// Morning is when a bench's clock begins.
var Morning = time.Date(2026, 3, 2, 8, 30, 0, 0, time.FixedZone("", 3600))

// Clock is a clock on the wall that a test moves.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// NewClock makes a clock that stands at a time.
func NewClock(at time.Time) *Clock { return &Clock{now: at} }

// Now is what the clock shows.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Move moves the clock on, or back.
func (c *Clock) Move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// Set makes the clock show a time.
func (c *Clock) Set(at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = at
}

// Seeded is randomness that is the same for the same seed. Several goroutines
// may read it.
func Seeded(seed uint64) io.Reader {
	var s [32]byte
	for i := range 8 {
		s[i] = byte(seed >> (8 * i))
	}
	return &seeded{r: rand.NewChaCha8(s)}
}

type seeded struct {
	mu sync.Mutex
	r  *rand.ChaCha8
}

func (s *seeded) Read(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.r.Read(p)
}
