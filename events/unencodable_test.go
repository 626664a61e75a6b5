package events_test

import (
	"strings"
	"testing"

	"oldhand/events"
)

// wired is a note's body with something in it that has no bytes.
type wired struct {
	events.Note
	Wire chan int `cbor:"9,keyasint"`
}

// A body that has no bytes makes no event, and it is said of which kind it is.
func TestABodyWithoutBytesMakesNoEvent(t *testing.T) {
	body := wired{events.Note{Text: "hum"}, nil}
	raw, err := events.EncodeBody(body)
	if err == nil || raw != nil || !strings.Contains(err.Error(), "encode note: ") {
		t.Errorf("encoded as %x, and it says %v", raw, err)
	}
	env, raw, err := events.Draft{About: unit, Body: body}.Make(eventID(1))
	if err == nil || raw != nil || env != (events.Envelope{}) {
		t.Errorf("made %+v with %x, and it says %v", env, raw, err)
	}
}
