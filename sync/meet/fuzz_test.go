package meet

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"
	"oldhand/sync/keyring"

	"github.com/google/go-cmp/cmp"
)

// Marks about keys are refused or have one form.
func FuzzReadKeyMark(f *testing.F) {
	f.Add(keyCursor{seq: 5, hash: [32]byte{1}, persons: 2}.value())
	f.Add(there{what: unproven, seq: 9, epoch: 3, tried: 2}.value())
	f.Add([]byte{})
	f.Add([]byte{keyring.Version})
	f.Add([]byte{keyring.Version + 1, 1})
	f.Fuzz(func(t *testing.T, v []byte) {
		c, err := readKeyCursor("epoch", v)
		switch {
		case err != nil && !errors.Is(err, errMark):
			t.Fatalf("cursor %x: an error of no kind: %v", v, err)
		case err == nil && (len(v) == 0 || v[0] != keyring.Version):
			if c != (keyCursor{epoch: "epoch"}) {
				t.Fatalf("cursor %x, which this program did not write, is %+v", v, c)
			}
		case err == nil && !bytes.Equal(c.value(), v):
			t.Fatalf("cursor %x is written again as %x", v, c.value())
		}
		th, err := readThere(v)
		switch {
		case err != nil && !errors.Is(err, errMark):
			t.Fatalf("person's mark %x: an error of no kind: %v", v, err)
		case err == nil && len(v) > 0 && !bytes.Equal(th.value(), v):
			t.Fatalf("person's mark %x is written again as %x", v, th.value())
		}
	})
}

// The note of what an exchange has of photos and recordings is one that this
// program wrote, or it is none and everything is asked again. What is read of it
// is written as a note that reads alike.
func FuzzReadKnown(f *testing.F) {
	k := nothingKnown("epoch", time.Unix(1772440200, 0).UTC())
	k.Messages, k.Last, k.LastHash = 3, 4, [32]byte{5}
	k.Whole[events.Hash{6}], k.Useless[events.Hash{7}] = true, true
	k.Answered[exchange.Piece{8}] = 9
	b, err := k.encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add(b[:len(b)/2])
	f.Add(bytes.Replace(b, []byte(`"whole":["06`), []byte(`"whole":["6`), 1))
	f.Add([]byte(`{"format":2}`))
	f.Add([]byte(`{"format":1,"last_hash":null,"since":"2026-03-02T08:30:00+25:00"}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		k, ok := readKnown(b)
		if !ok {
			return
		}
		if !json.Valid(b) {
			t.Fatalf("%q is taken for a note", b)
		}
		once, err := k.encode()
		if err != nil {
			return // a year that JSON has no time for; the note is made anew
		}
		again, ok := readKnown(once)
		if d := cmp.Diff(k, again, cmp.AllowUnexported(known{})); !ok || d != "" {
			t.Fatalf("%q is read as (-first +then):\n%s", b, d)
		}
	})
}
