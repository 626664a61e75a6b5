package eventlog_test

import (
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// A folder that can't be listed is not taken for an empty one, in which a store would
// be made over the one that is there.
func TestF08_AFolderThatCanNotBeListedIsNotEmpty_P1(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 460)
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	bad := broken{err: syscall.EACCES, which: func(op errorfs.Op) bool { return op.Kind == errorfs.OpList }}
	bad.on.Store(true)
	other, err := eventlog.Open(b.Options(bad.over(disk), "log"))
	if err == nil {
		closeLog(t, other)
	}
	wantErr(t, err, syscall.EACCES)
	bad.on.Store(false)
	mustHaveVisit(t, eventstest.Open(t, b.Options(bad.over(disk), "log")))
}

// A store that a newer engine wrote is said to be newer, and left as it is.
func TestF27_AStoreOfANewerEngineIsNotOpened(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 461)
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	const marker = "log/marker.format-version.000099.099"
	writeFile(t, disk, marker, nil)
	_, err := eventlog.Open(b.Options(disk, "log"))
	wantErr(t, err, eventlog.ErrNewer)
	if err := disk.Remove(marker); err != nil {
		t.Fatal(err)
	}
	mustHaveVisit(t, eventstest.Open(t, b.Options(disk, "log")))
}

// Rows without the one that says of which format they are are what is left of a store;
// none at all are a store that was not finished, and made where it may be.
func TestF04_AStoreWithoutItsFormat(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 462)
	eventstest.SaveVisit(t, l)
	if err := l.PutRaw([]byte("nformat"), nil); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	_, err := eventlog.Open(b.Options(disk, "log"))
	wantErr(t, err, eventlog.ErrDamaged)

	fresh := vfs.NewMem()
	db, err := pebble.Open("log", &pebble.Options{FS: fresh, FormatMajorVersion: pebble.FormatValueSeparation, Logger: quiet{}})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	o := b.Options(fresh, "log")
	o.Create = false
	_, err = eventlog.Open(o)
	wantErr(t, err, eventlog.ErrNoStore)
	o.Create = true
	made := eventstest.Open(t, o)
	eventstest.SaveVisit(t, made)
	mustHaveVisit(t, made)
}

// quiet is an engine's logger that says nothing.
type quiet struct{}

func (quiet) Infof(string, ...any)  {}
func (quiet) Errorf(string, ...any) {}
func (quiet) Fatalf(string, ...any) {}

// The row that says which feed is the bench's own is not one.
func TestF04_ADamagedRowOfTheOwnFeedIsSaid(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 463)
	eventstest.SaveVisit(t, l)
	if err := l.SetRaw([]byte("nown"), []byte{1, 2, 3}); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	_, err := eventlog.Open(b.Options(disk, "log"))
	wantErr(t, err, eventlog.ErrDamaged)
}

// A scrub walks what its view has, whatever has begun since.
func TestAScrubWalksWhatItsViewHas(t *testing.T) {
	shop := eventstest.FoundShop(t, 464)
	l := receiver(t, shop)
	eventstest.SaveNotes(t, l, unit, "here", 3)
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	from, _ := bench2(t, shop)
	if err := l.Receive(bg, from.evs, []events.SignedHead{from.head}); err != nil {
		t.Fatal(err)
	}
	if s, err := v.Scrub(nil); err != nil || s.Feeds != 1 || s.Events != 4 {
		t.Errorf("it walks %+v (%v), want one feed of 4 events", s, err)
	}
}
