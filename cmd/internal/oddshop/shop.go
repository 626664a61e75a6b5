package oddshop

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/png"
	mrand "math/rand/v2"
	"path/filepath"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/bundle"
	"oldhand/sync/keyring"
	"oldhand/sync/segment"
)

// Shop is the folder of an honest bench which has all that the odd one wrote.
type Shop struct {
	Dir     string
	State   string   // of the folder, for app.Options
	Honest  []string // ids of units that the honest bench took in; the odd one spoke of all but the last
	Odd     []string // ids of units that the odd bench named
	Count   map[events.Kind]int
	Persons int         // odd customers whose names read
	Photo   events.Hash // of a photo that lies at the honest bench, which odd entries name too
}

// Now is the time at which a shop is made.
var Now = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// Make makes a shop of a seed in a folder that is empty or not there.
func Make(top string, seed uint64) (s Shop, err error) {
	s = Shop{Dir: filepath.Join(top, "shop"), State: filepath.Join(top, "state"), Count: map[events.Kind]int{}}
	keys, err := drawKeys(seed)
	if err != nil {
		return s, err
	}
	o := app.Options{State: s.State, Now: func() time.Time { return Now }}
	founding := app.Founding{Shop: "Lantern Street Radio", Bench: "front", Owner: keys.owner, Key: keys.front, Nonce: [16]byte{byte(seed)}, At: events.AtTime(Now)}
	front, err := app.FoundWith(s.Dir, founding, o)
	if err != nil {
		return s, err
	}
	return s, errors.Join(s.fill(front, keys, seed), front.Close())
}

type benchKeys struct{ owner, front, odd events.BenchKey }

func drawKeys(seed uint64) (k benchKeys, err error) {
	at := func(n byte) [32]byte { return [32]byte{n, byte(seed), byte(seed >> 8)} }
	var errs [3]error
	k.owner, errs[0] = events.OwnerKeyOf(at(1))
	k.front, errs[1] = events.BenchKeyOf(at(2))
	k.odd, errs[2] = events.BenchKeyOf(at(3))
	return k, errors.Join(errs[:]...)
}

// fill has the honest bench take sets in and the odd one admitted, and then what that
// one wrote.
func (s *Shop) fill(front *app.Shop, keys benchKeys, seed uint64) error {
	odd, err := keys.odd.Public()
	if err != nil {
		return err
	}
	admitted, err := keys.owner.Admit(front.Log.Shop(), odd, "back", 2)
	if err != nil {
		return err
	}
	err = front.Log.Append(context.Background(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{At: events.AtTime(Now), Body: admitted})
		return err
	})
	if err != nil {
		return err
	}
	units, err := s.receive(front)
	if err != nil {
		return err
	}
	if _, err := front.WriteBundle(filepath.Join(filepath.Dir(s.Dir), "first.bundle"), app.Carry{}); err != nil { // it sets the shop's key
		return err
	}
	f := &feed{maker: &maker{rng: mrand.New(mrand.NewPCG(seed, 1)), huge: hugeTexts()}, shop: front.Log.Shop(),
		head: events.Head{Feed: events.FeedID{Bench: odd, Incarnation: events.Incarnation{byte(seed), 1}}}, began: uint64(Now.UnixMilli())}
	people := f.people()
	f.contents = []events.Hash{s.Photo, {1}, {}}
	if err := f.tell(units[:len(units)-1], 16); err != nil {
		return err
	}
	customers, err := f.customers(people)
	if err != nil {
		return err
	}
	for _, e := range f.all {
		s.Count[e.Kind]++
	}
	for _, u := range f.units[len(units)-1:] {
		s.Odd = append(s.Odd, u.String())
	}
	s.Persons = len(customers)
	path := filepath.Join(filepath.Dir(s.Dir), "odd.bundle")
	if err := carry(path, front, keys, f, customers); err != nil {
		return err
	}
	return s.take(front, path, len(f.all))
}

// receive takes sets in as an honest bench does, the last of them sent home again.
func (s *Shop) receive(front *app.Shop) (units []events.UnitID, err error) {
	for _, serial := range []string{"E17-17750", "B90-55354", "C41-00731"} {
		res, err := front.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: serial, KindOfSet: "table-radio", Complaint: "hums"}})
		if err != nil {
			return nil, err
		}
		var id events.EventID
		if err := id.UnmarshalText([]byte(res.Unit)); err != nil {
			return nil, err
		}
		units, s.Honest = append(units, events.UnitID(id)), append(s.Honest, res.Unit)
	}
	photo, err := drawn()
	if err != nil {
		return nil, err
	}
	s.Photo = sha256.Sum256(photo)
	_, err = front.Attach(s.Honest[len(s.Honest)-1], app.Who{}, "as received", app.File{Name: "front.png", Content: bytes.NewReader(photo)})
	return units, err
}

// drawn is a small picture.
func drawn() ([]byte, error) {
	var b bytes.Buffer
	err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30)))
	return b.Bytes(), err
}

// take reads the file, as a person does who was handed it on a stick.
func (s *Shop) take(front *app.Shop, path string, wrote int) error {
	m, err := front.ReadBundle(path, nil)
	if err == nil && (m.Aside > 0 || m.Took != wrote) {
		err = fmt.Errorf("the odd bench wrote %d events, of which came in: %+v", wrote, m)
	}
	return err
}

// segmentEvents and segmentBytes are less than a segment may hold.
const (
	segmentEvents = 100
	segmentBytes  = 250 << 10
)

// carry writes the odd bench's feed and its customers' keys into a bundle.
func carry(path string, front *app.Shop, keys benchKeys, f *feed, customers []events.KeyEntry) error {
	who, err := front.Roster()
	if err != nil {
		return err
	}
	ring, err := who.Keys(keys.odd)
	key, ok := ring.Sealing()
	if !ok {
		return fmt.Errorf("the odd bench was given no key of the shop: %w", err)
	}
	last, err := keys.odd.SignHead(f.shop, f.head)
	if err != nil {
		return err
	}
	secret := segment.Key(key.Secret)
	o := bundle.Options{Shop: f.shop, Epoch: key.Epoch, Key: secret, Had: []bundle.Had{{Head: f.head, Signature: last.Signature}}, Keys: true, Random: rand.Reader}
	return bundle.WriteFile(path, o, func(w *bundle.Writer) error {
		for _, run := range runs(f.all) {
			head, err := keys.odd.SignHead(f.shop, run[len(run)-1].Head())
			if err != nil {
				return err
			}
			sealed, err := segment.Seal(f.shop, key.Epoch, secret, run, head, rand.Reader)
			if err == nil {
				err = w.Add(sealed)
			}
			if err != nil {
				return err
			}
		}
		for _, c := range customers {
			sealed, err := keyring.Seal(f.shop, key.Epoch, secret, c, rand.Reader)
			if err == nil {
				err = w.AddKey(sealed)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// runs cuts a feed into what fits into a segment each.
func runs(all []events.Event) (cut [][]events.Event) {
	size, from := 0, 0
	for i, e := range all {
		if i > from && (i-from >= segmentEvents || size+len(e.Record) > segmentBytes) {
			cut, from, size = append(cut, all[from:i]), i, 0
		}
		size += len(e.Record)
	}
	return append(cut, all[from:])
}
