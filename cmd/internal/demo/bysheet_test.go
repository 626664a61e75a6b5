package demo

import (
	"testing"

	"oldhand/events"
	"oldhand/events/sheets"
)

// The rule is package sheets': what the shop says has passed must have.
func TestWhatPassedByItsSheetHasEveryCheckOrItsWords(t *testing.T) {
	defined := map[events.EventID]events.TestSheetDefined{}
	read := map[events.VisitID][]events.ReadingTaken{}
	passed, words := 0, 0
	for _, e := range tell(t, Options{Seed: 4}).events {
		body, err := e.Body()
		if err != nil {
			continue // one that only a newer program reads
		}
		switch b := body.(type) {
		case events.TestSheetDefined:
			defined[e.ID] = b
		case events.ReadingTaken:
			read[e.Visit] = append(read[e.Visit], b)
		case events.FinalTest:
			if b.Sheet.IsZero() || b.Verdict != events.Passed {
				continue
			}
			passed, words = passed+1, words+len(b.Checks)
			s, ok := defined[b.Sheet]
			if !ok {
				t.Fatal("a test follows a sheet that is not there")
			}
			if lacks := sheets.Lacks(sheets.Hold(s.Checks, read[e.Visit], b.Checks, events.AsLeft)); len(lacks) > 0 {
				t.Errorf("%s passed: %+v", s.Name, lacks)
			}
			if over := sheets.StillOver(read[e.Visit], s.Checks); len(over) > 0 {
				t.Errorf("%s passed: %+v", s.Name, over)
			}
		}
	}
	if len(defined) != len(sheets.Good) || passed < 20 || words < 20 {
		t.Errorf("%d sheets, %d sets that passed, %d words", len(defined), passed, words)
	}
}
