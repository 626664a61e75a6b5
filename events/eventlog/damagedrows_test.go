package eventlog_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// A row that is not as it was written is told by its own name, whichever it is, and by
// opening where the log can't be read without it (F04).
func TestF04_EachKindOfRowSaysThatItIsDamaged(t *testing.T) {
	disk, b, _, rows := treeOnDisk(t)
	row := func(family byte) (k, v []byte) {
		for _, r := range rows {
			if r[0][0] == family {
				return bytes.Clone(r[0]), bytes.Clone(r[1])
			}
		}
		t.Fatalf("no row of family %c", family)
		return nil, nil
	}
	longer := func(family byte) (k, v []byte) { k, v = row(family); return append(k, 0), v }
	short := func(family byte) (k, v []byte) { k, v = row(family); return k, v[:len(v)-1] }
	put := func(k string, v string) func(byte) ([]byte, []byte) {
		return func(byte) ([]byte, []byte) { return []byte(k), []byte(v) }
	}
	for _, c := range []struct {
		name   string
		family byte
		row    func(byte) (k, v []byte)
		want   string
	}{
		{"a feed's key", 'f', longer, "feed key of 6 bytes"},
		{"a feed's row", 'f', short, "feed row of 87 bytes"},
		{"a feed behind a gap", 0, func(byte) ([]byte, []byte) { _, v := row('f'); return []byte{'f', 0, 0, 0, 99}, v }, "feed row 99 where 4 should be"},
		{"a feed twice", 0, func(byte) ([]byte, []byte) { _, v := row('f'); return []byte{'f', 0, 0, 0, 4}, v }, "is a second one of"},
		{"a branch's key", 'b', longer, "branch key of 6 bytes"},
		{"a branch's row", 'b', short, "branch row of 75 bytes"},
		{"a branch that leaves itself", 'b', func(f byte) ([]byte, []byte) { k, v := row(f); copy(v, k[1:5]); return k, v }, "leaves row"},
		{"a branch without a feed", 0, func(byte) ([]byte, []byte) { _, v := row('b'); return []byte{'b', 0, 0, 0, 99}, v }, "branch row 99 has no feed row"},
		{"a cut's key", 'c', longer, "cut of 6 and 8 bytes"},
		{"a cut's row", 'c', short, "cut of 5 and 7 bytes"},
		{"a cut of no feed", 0, put("c\x00\x00\x00\x63", "\x00\x00\x00\x00\x00\x00\x00\x01"), "cut of feed 99, which has no row"},
		{"an event's key", 'e', longer, "event key of 14 bytes"},
		{"an event's row", 'e', func(f byte) ([]byte, []byte) { k, v := row(f); return k, v[:31] }, "events 1 to 16: hash is"},
		{"an event's row that keeps its hash", 'e', func(f byte) ([]byte, []byte) { k, v := row(f); k[12] = 16; return k, v[:31] }, "event of 31 bytes"},
		{"an event of no feed", 0, func(byte) ([]byte, []byte) { k, v := row('e'); k[4] = 99; return k, v }, "event of feed 99, which has no row"},
		{"a signed head", 's', func(f byte) ([]byte, []byte) { k, v := row(f); return k, v[:15] }, "signed head of 15 bytes"},
		{"a signed head's signature", 's', func(f byte) ([]byte, []byte) { k, v := row(f); return k, v[:20] }, "signed head of 4 bytes"},
		{"a signed head's head", 's', func(f byte) ([]byte, []byte) { k, v := row(f); return k, v[1:] }, "feed row of"},
		{"a person's key", 'k', short, "person's key of 31 bytes"},
		{"a person's key of zeros", 'k', func(f byte) ([]byte, []byte) { k, v := row(f); return k, make([]byte, len(v)) }, "is all zeros"},
		{"a keyring row's key", 'k', longer, "keyring row of 18 bytes"},
		{"a subject's list", 0, func(byte) ([]byte, []byte) { return append([]byte{'u'}, unit[:]...), []byte{1} }, "list of a subject's events"},
		{"a subject's list, begun", 0, func(byte) ([]byte, []byte) { return append([]byte{'u'}, unit[:]...), []byte{0x80} }, "list of a subject's events"},
		{"a subject's event of no feed", 0, func(byte) ([]byte, []byte) { return append([]byte{'u'}, unit[:]...), []byte{99, 1} }, "event 1 of row 99 is listed and not here"},
		{"a subject's event that is not here", 0, func(byte) ([]byte, []byte) { return append([]byte{'u'}, unit[:]...), []byte{0, 120} }, "event 120 of row 0 is listed and not here"},
	} {
		o := eventlog.Tiny(b.Options(disk.CrashClone(vfs.CrashCloneCfg{RNG: rand.New(rand.NewPCG(1, 1))}), "log"))
		l, err := eventlog.Open(o)
		if err != nil {
			t.Fatal(err)
		}
		k, v := c.row(c.family)
		if err := errors.Join(l.SetRaw(k, v), l.Close()); err != nil {
			t.Fatal(err)
		}
		if err := saysOf(o); !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// saysOf opens a log and reads all of it.
func saysOf(o eventlog.Options) error {
	l, err := eventlog.Open(o)
	if err != nil {
		return err
	}
	defer l.Close()
	v, err := l.View()
	if err != nil {
		return err
	}
	defer v.Close()
	return eachOf(l, v, func(events.Event) {})
}
