package app

import (
	"testing"

	"oldhand/events"
)

func TestFieldsGoByTheirWordsInSmallLetters(t *testing.T) {
	for name, want := range map[string]string{"YearFrom": "year_from", "ID": "id", "Serial": "serial", "KindOfSet": "kind_of_set"} {
		if got := fieldName(name, '_'); got != want {
			t.Errorf("%s: got %s, want %s", name, got, want)
		}
	}
}

func TestACorrectedFactSaysItsVisitAndVersionInAnExport(t *testing.T) {
	body, err := events.EncodeBody(events.Note{Text: "better"})
	if err != nil {
		t.Fatal(err)
	}
	visit := events.VisitID{1, 2}
	m := plainOf(events.Corrected{Replaces: []events.EventID{{9}}, Fact: events.Fact{Kind: events.KindNote, Visit: visit, Body: body}})
	fact, ok := m["fact"].(map[string]any)
	if !ok || fact["visit"] != visit.String() || fact["version"] != uint(1) || fact["kind"] != "note" {
		t.Errorf("fact: %v", m["fact"])
	}
}
