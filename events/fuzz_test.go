package events_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/events"
)

// What a bench receives comes from outside: no bytes may stop the program, and
// what is taken as a record has no second form (P10, F18).
func FuzzDecodeRecord(f *testing.F) {
	for _, path := range keptRecords(f) {
		f.Add(keptRecord(f, path))
	}
	f.Add(good.record(f))
	f.Fuzz(func(t *testing.T, rec []byte) {
		before := bytes.Clone(rec)
		env, body, err := events.DecodeRecord(rec)
		if err != nil {
			if !errors.Is(err, events.ErrMalformed) && !errors.Is(err, events.ErrTooLarge) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		again, err := events.EncodeRecord(env, body)
		if err != nil || !bytes.Equal(again, before) {
			t.Fatalf("taken as %+v, which is written\n%x\nand was\n%x (%v)", env, again, before, err)
		}
		head := events.Head{Feed: feed}
		if env.Kind != events.KindFeedBegun {
			head.Seq = 1
		}
		if e, err := events.Link(head, rec); err == nil {
			_, _ = e.Body()
			_ = e.Line()
		}
		if !bytes.Equal(rec, before) {
			t.Fatal("reading changed the record")
		}
	})
}

// A body of any kind is read or refused; what is read is written the same way
// each time, and its rules and its line hold out.
func FuzzBody(f *testing.F) {
	for _, path := range keptRecords(f) {
		env, raw, err := events.DecodeRecord(keptRecord(f, path))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint16(env.Kind), env.Version, []byte(raw))
	}
	f.Fuzz(func(t *testing.T, kind uint16, version uint, raw []byte) {
		k := events.Kind(kind)
		_ = events.Line(k, version, raw)
		body, err := events.DecodeBody(k, version, raw)
		if err != nil {
			if !errors.Is(err, events.ErrMalformed) && !errors.Is(err, events.ErrUnread) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		if body.Validate() != nil {
			return
		}
		once, err := events.EncodeBody(body)
		if err != nil {
			t.Fatalf("a valid %s is not written: %v", k, err)
		}
		read, err := events.DecodeBody(k, version, once)
		if err != nil {
			t.Fatalf("what was written of a %s is not read: %v", k, err)
		}
		if twice := encoded(read); !bytes.Equal(once, twice) {
			t.Fatalf("%s is written\n%x\nand then\n%x", k, once, twice)
		}
		if read.Line() != body.Line() || read.Validate() != nil {
			t.Fatalf("%s says %q and then %q", k, body.Line(), read.Line())
		}
	})
}
