package web_test

import (
	"net/url"
	"testing"
	"time"
)

// What came in by a clock that was a day ahead is worked on by the page's forms, and
// the page says on which day that was put.
func TestAFormSaysWhichDayItWasTakenAsWhereAClockWasAhead(t *testing.T) {
	c := &clock{at: asOf.Add(24 * time.Hour)}
	s := newShopAt(t, c.now)
	said := s.does("/receive", "receive", url.Values{"maker": {"Ostrel"}, "model": {"R-950"}, "serial": {"E17-17750"}, "complaint": {"hums"}})
	wants(t, said, "New here")
	c.forward(-24 * time.Hour)
	tomorrow := asOf.Add(24 * time.Hour).Format(time.DateOnly)
	tag := tagAt(t, s, "E17-17750")
	for form, typed := range map[string]url.Values{
		"work": {"work": {"cleaned"}}, "measure": {"point": {"AM"}, "reading": {"95 mV"}}, "replace": {"designator": {"C14"}, "in": {".047 MFD 400V"}},
	} {
		wants(t, s.does("/unit/"+tag+"/bench?do="+form, form, typed), "Saved: ", "taken as of "+tomorrow, "a clock was ahead")
	}
	wants(t, s.does("/unit/"+tag+"/bench?do=ship", "ship", url.Values{"outcome": {"repaired"}}), "a clock was ahead")
	said = s.does("/receive", "receive", url.Values{"maker": {"Ostrel"}, "model": {"R-950"}, "serial": {"E17-17750"}, "complaint": {"hums again"}})
	wants(t, said, "was here before", "taken as of "+tomorrow)
}

// tagAt is the tag of the one unit with a serial.
func tagAt(t testing.TB, s *served, serial string) string {
	t.Helper()
	found, _, err := s.shop.Lookup(serial, 2)
	if err != nil || len(found) != 1 {
		t.Fatalf("%s finds %+v (%v)", serial, found, err)
	}
	return found[0].Tag
}
