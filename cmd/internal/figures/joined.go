package main

import (
	"encoding/json"
	"os"
	"path/filepath"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
	"oldhand/sync/roster/invite"
)

// layJoined lays the folder of a bench of the story as joining leaves it: its
// card, its key, what it was told, and a log with nothing in it. A bench that
// joins by a code takes all over in the same breath, and that is to be measured
// by itself.
func (t *turn) layJoined(dir string, bench demo.Bench) {
	t.check(os.MkdirAll(filepath.Join(dir, "keys"), 0o700))
	put := func(name string, text []byte, err error) {
		t.check(err)
		t.check(os.WriteFile(filepath.Join(dir, name), text, 0o600))
	}
	seed, err := bench.Key.Seed()
	put("keys/bench.key", append(seed, '\n'), err)
	card, err := json.Marshal(app.Card{Format: 1, Shop: t.story().Shop().String(), Name: t.story().Name(), Bench: bench.Name, Number: bench.Number})
	put("shop.json", card, err)
	told, err := t.answerTo(bench.Key).Encode()
	put("joined", told, err)
	l, err := eventlog.Open(eventlog.Options{Dir: filepath.Join(dir, "store"), Create: true, Shop: t.story().Shop(), Key: bench.Key,
		Projector: projections.Engine{}, Software: app.Software, LeastFree: eventlog.DefaultLeastFree})
	t.check(err)
	t.check(l.Close())
}

// answerTo is what the front answers a bench that it lets join, from the facts
// in its log.
func (t *turn) answerTo(key events.BenchKey) invite.Answer {
	id, err := key.Public()
	t.check(err)
	v, err := t.openCopy(t.front()).Log.View()
	t.check(err)
	defer v.Close()
	facts, err := v.AllEvents([16]byte{})
	t.check(err)
	var founding events.ShopFounded
	var admitted events.BenchAdmitted
	var keys []events.ShopKeySet
	for _, e := range facts {
		switch body, err := e.Body(); b := body.(type) {
		case events.ShopFounded:
			founding = b
		case events.BenchAdmitted:
			if b.Bench == id {
				admitted = b
			}
		case events.ShopKeySet:
			keys = append(keys, b)
		default:
			t.check(err)
		}
	}
	answer, err := invite.Admit(founding, nil, admitted, keys)
	t.check(err)
	return answer
}
