package events_test

import (
	"crypto/ed25519"
	"time"

	"oldhand/events"
	"oldhand/events/hlc"
)

// The examples stand behind most tests of this package: for every kind one
// body with every field set and one with the fewest, made from fixed ids and
// keys, so that they come out the same for ever. A kind that gets a new field
// gets a further example in moreExamples; the first two are kept bytes.

// example is one event of the table, in the making.
type example struct {
	name  string // of its files among the kept bytes
	id    events.EventID
	draft events.Draft
}

// recorded is the time inside all example ids: 2026-11-25 14:30 UTC.
var recorded = uint64(time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC).UnixMilli())

// eventID is the n-th example id.
func eventID(n byte) events.EventID {
	return events.NewEventID(hlc.Join(recorded, uint16(n)), [8]byte{n, n, n, n, n, n, n, n})
}

// fill is 32 bytes of one value: the secret of an example key.
func fill(n byte) (b [32]byte) {
	for i := range b {
		b[i] = n
	}
	return b
}

func half(n byte) [16]byte { f := fill(n); return [16]byte(f[:16]) }

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func keyOf(n byte) events.BenchKey { return must(events.BenchKeyOf(fill(n))) }

// signed signs with Go's own Ed25519, past the code under test.
func signed(secret byte, statement []byte) []byte {
	seed := fill(secret)
	return ed25519.Sign(ed25519.NewKeyFromSeed(seed[:]), statement)
}

var (
	owner, bench, otherBench = keyOf(0x01), keyOf(0x02), keyOf(0x03)
	drawer                   = keyOf(0x04) // the owner's second key
	shopKey                  = events.ShopKey(fill(0x99))
	founding                 = must(owner.Found("Ostrel Street Radio Repair", half(0x33)))
	shop                     = founding.Shop()
	feed                     = events.FeedID{Bench: must(bench.Public()), Incarnation: half(0x44)}
	unit                     = events.UnitID(eventID(1))
	visit                    = events.VisitID(eventID(1))
	person                   = events.PersonID(half(0x55))
	personKey                = events.PersonKey(fill(0x66))
	afternoon                = must(events.ParseWhen("2026-11-25T15:30:20+01:00", time.UTC))
	customer                 = events.Personal{Name: "Ilse Brandauer", Phone: "555 0142", Email: "ilse@example.org", Address: "Linden Row 7", City: "Kelm"}
)

func encoded(b events.Body) events.RawBody { return must(events.EncodeBody(b)) }

func sealed(p events.Personal) events.PersonRecorded {
	return must(p.Seal(person, personKey, [24]byte(make([]byte, 24))))
}

// fullBodies gives a fresh body of every kind with every field set.
func fullBodies() []events.Body {
	farads := events.Quantity{Mant: 47, Exp: -6, Unit: "F"}
	retired := events.BenchRetired{Bench: feed.Bench, Counted: []events.Head{{Feed: feed, Seq: 9, Hash: fill(0x77)}}, Why: "laptop sold"}
	retired.Signature = signed(0x01, retired.Statement(shop))
	return []events.Body{
		events.Received{Maker: "Ostrel", Model: "MS-40", Serial: "E29 53541", YearFrom: 1968, YearTo: 1971, KindOfSet: "intercom-master", Tag: "10071",
			Complaint: "hums on FM", Condition: "scuffed", Accessories: "two door stations", Carrier: "parcel post", Person: person},
		events.Identified{Maker: "Ostrel", Model: "MS-40", Serial: "E29 53541", YearFrom: 1968, YearTo: 1971, KindOfSet: "intercom-master",
			Evidence: []events.Evidence{{What: "date code", Text: "274-6342", Part: "T1"}, {What: "label", Text: "inside the door", Part: "door"}}},
		events.SameUnit{Other: events.UnitID(eventID(2)), Why: "same scratch on the lid"},
		events.NotSameUnit{Other: events.UnitID(eventID(2)), Undoes: []events.EventID{eventID(3)}, Why: "two serials after all"},
		events.FaultFound{Symptom: "hum", Component: "filter-capacitor", Designator: "C14", Mode: "leaky", Cause: "age", Sure: "likely", Text: "warm to the touch"},
		events.NoFaultFound{Text: "played for two hours"},
		events.PartReplaced{Designator: "C14", Component: "filter-capacitor",
			Out:      events.Marking{Text: "40-40/150", Sections: []events.Quantity{{Mant: 40, Exp: -6, Unit: "F"}, {Mant: 40, Exp: -6, Unit: "F"}}, Volts: 150},
			In:       events.Marking{Text: "47u 450V", Sections: []events.Quantity{farads}, Volts: 450},
			DateCode: "6342", Reason: "failed", Text: "under the chassis"},
		events.WorkDone{Work: "realigned", Component: "if-transformer", Designator: "T3", Minutes: 45, Text: "IF at 455 kHz"},
		events.ReadingTaken{Point: "tuner out L", Measure: "audio-level", Text: "310 mV", Value: events.Quantity{Mant: 310, Exp: -3, Unit: "V"},
			Stage: events.AsLeft, Instrument: "bench meter 2", Limits: "250 to 350 mV", Conditions: "AM, 1 kHz"},
		events.FinalTest{Sheet: eventID(4), Verdict: "passed", LeftOut: "no phono cable here", Text: "played overnight"},
		events.EstimateGiven{Amount: 18500, Currency: "USD", Text: "new filter capacitors"},
		events.EstimateAnswered{Accepted: true, Text: "go ahead"},
		events.WaitingBegun{For: "parts", Text: "dial cord"},
		events.WaitingEnded{For: "parts", Text: "dial cord came"},
		events.Shipped{Outcome: "repaired", Carrier: "parcel post", WarrantyDays: 90, Charge: 18500, Currency: "USD", Text: "double boxed"},
		events.Note{Text: "the owner's father bought it new \u2013 in 1969"},
		events.EvidenceAttached{Content: fill(0x88), Name: "label.jpg", Type: "image/jpeg", Size: 183_204, Text: "inside of the door"},
		events.Corrected{Replaces: []events.EventID{eventID(5), eventID(6)}, Why: "misread the print", Fact: events.Fact{
			Kind: events.KindNote, Version: 1, At: afternoon, By: "mara", Visit: visit, Body: encoded(events.Note{Text: "it is C15"})}},
		events.Withdrawn{Withdraws: []events.EventID{eventID(5), eventID(6)}, Why: "other set"},
		events.Settled{Settles: []events.EventID{eventID(5), eventID(6)}, Keep: eventID(6), Why: "checked on the chassis"},
		sealed(customer),
		events.PersonForgotten{Signature: signed(0x01, events.ForgetStatement(shop, person))},
		events.TestSheetDefined{Name: "intercom master, final", KindOfSet: "intercom-master", Maker: "Ostrel", Model: "MS-40", Checks: []events.Check{
			{Label: "AM loudness", Point: "AM", Measure: "audio-level", Low: "-3 dB", High: "3 dB", Beside: "FM", Conditions: "1 kHz", Instrument: "level meter"}, {Label: "every station talks"}}},
		events.InstrumentRecorded{Name: "bench meter 2", Maker: "Corvane", Model: "V9", Serial: "0017", Calibrated: events.OnDay(events.NewDay(2026, 3, 2))},
		founding,
		must(owner.Admit(shop, feed.Bench, "bench two", 2)),
		retired,
		events.RowImported{Source: fill(0x99), Row: 12, Key: half(0xaa), Format: "book", Kept: map[string]string{"Shelf": "B3", "Who": "mara"}},
		events.FeedBegun{Shop: shop, Parent: events.Head{Feed: feed, Seq: 9, Hash: fill(0x77)}, Software: "oldhand 0.1"},
		events.TermAdded{Table: "component", ID: "dial-lamp", Name: "dial lamp"},
		events.ShopDay{Day: events.NewDay(2026, 12, 24), Open: true, Why: "the last parcels before the holidays"},
		must(owner.NameOwner(shop, must(drawer.Public()), "in the drawer")),
		keptKeySet(7),
		must(owner.Release(shop, feed.Bench, []events.Head{{Feed: feed, Seq: 12, Hash: fill(0x78)}}, "honest work, sent late")),
	}
}

// leastBodies gives a body of every kind with as little as it may have.
func leastBodies() []events.Body {
	retired := events.BenchRetired{Bench: feed.Bench}
	retired.Signature = signed(0x01, retired.Statement(shop))
	return []events.Body{
		events.Received{KindOfSet: "table-radio"},
		events.Identified{YearFrom: 1968},
		events.SameUnit{Other: events.UnitID(eventID(2))},
		events.NotSameUnit{Other: events.UnitID(eventID(2))},
		events.FaultFound{Text: "cracked board"},
		events.NoFaultFound{},
		events.PartReplaced{Designator: "C14"},
		events.WorkDone{Work: "cleaned"},
		events.ReadingTaken{Point: "B+", Text: "ok"},
		events.FinalTest{Verdict: "not finished"},
		events.EstimateGiven{Currency: "EUR"},
		events.EstimateAnswered{},
		events.WaitingBegun{For: "owner"},
		events.WaitingEnded{},
		events.Shipped{Outcome: "declined"},
		events.Note{Text: "x"},
		events.EvidenceAttached{Content: fill(0x88), Type: "image/jpeg"},
		events.Corrected{Replaces: []events.EventID{eventID(5)}, Fact: events.Fact{Kind: events.KindNoFaultFound, Body: encoded(events.NoFaultFound{})}},
		events.Withdrawn{Withdraws: []events.EventID{eventID(5)}},
		events.Settled{Settles: []events.EventID{eventID(5), eventID(6)}, Keep: eventID(5)},
		sealed(events.Personal{City: "Kelm"}),
		events.PersonForgotten{Signature: signed(0x01, events.ForgetStatement(shop, person))},
		events.TestSheetDefined{Name: "any set", Checks: []events.Check{{Label: "plays"}}},
		events.InstrumentRecorded{Name: "variac"},
		must(owner.Found("O", [16]byte{})),
		must(owner.Admit(shop, feed.Bench, "2", 1)),
		retired,
		events.RowImported{Source: fill(0x99), Row: 1, Key: half(0xaa), Format: "ords"},
		events.FeedBegun{Shop: shop},
		events.TermAdded{Table: "work", ID: "w", Name: "w"},
		events.ShopDay{},
		must(owner.NameOwner(shop, must(drawer.Public()), "")),
		keptKeySet(1),
		must(owner.Release(shop, feed.Bench, []events.Head{{Feed: feed, Seq: 1, Hash: fill(0x78)}}, "")),
	}
}

// examples gives the examples of one kind, in the order of their names.
func examples(k events.Kind) (list []example) {
	for _, b := range fullBodies() {
		if b.Kind() == k {
			d := draftOf(b)
			d.At, d.By = afternoon, "mara"
			if r, _ := events.FindKind(k); r.Subject == events.OfUnit {
				d.Visit = visit
			}
			list = append(list, example{"1-full", eventID(0x10 + byte(k)), d})
		}
	}
	for _, b := range leastBodies() {
		if b.Kind() == k {
			list = append(list, example{"2-least", eventID(0x80 + byte(k)), draftOf(b)})
		}
	}
	for _, e := range moreExamples() {
		if e.draft.Body.Kind() == k {
			list = append(list, e)
		}
	}
	return list
}

// moreExamples are shapes of the envelope that the first two do not show, and
// fields that came to a kind after its first bytes were kept.
func moreExamples() []example {
	book := draftOf(events.Note{Text: "from the book of 1987"})
	book.At = events.OnDay(events.NewDay(1987, 6, 5))
	first := events.Draft{Body: events.Received{Maker: "Tessaly", Model: "R2"}, By: "jo",
		At: must(events.ParseWhen("1969-12-31T19:00:00-05:30", time.UTC))}
	leakage := draftOf(events.ReadingTaken{Point: "volume shaft", Measure: "touch-current", Text: "0.31 mA", Value: events.Quantity{Mant: 31, Exp: -5, Unit: "A"},
		Limits: "0.7 mA peak", Conditions: "plug both ways", Network: "iec60990", Amplitude: events.Peak})
	leakage.Visit = visit
	tested := draftOf(events.FinalTest{Sheet: eventID(4), Verdict: events.Passed, Checks: []events.CheckNote{
		{Number: 2, LeftOut: "no door station came with it"}, {Number: 5, Despite: "the owner's own tape is worn"}}})
	sheet := draftOf(events.TestSheetDefined{Name: "intercom master, final", KindOfSet: "intercom-master", Checks: []events.Check{
		{Label: "the door station rings", Measure: "check", Stage: events.AsLeft, OnlyWhere: "a door station", Source: "common practice, no source"}}})
	return []example{
		{"3-checks-with-words", eventID(0xf2), tested},
		{"3-stage-and-source", eventID(0xf3), sheet},
		{"3-only-a-day", eventID(0xf0), book},
		{"3-first-of-a-unit", eventID(0xf1), first},
		{"3-touch-current", eventID(0xf4), leakage},
	}
}

// draftOf is a draft about what a body's kind is about, and no more.
func draftOf(b events.Body) events.Draft {
	d := events.Draft{Body: b}
	switch r, _ := events.FindKind(b.Kind()); r.Subject {
	case events.OfUnit:
		d.About = unit
	case events.OfPerson:
		d.About = person
	}
	return d
}

// record is the example's event as bytes.
func (e example) record() []byte {
	env, body, err := e.draft.Make(e.id)
	if err != nil {
		panic(err)
	}
	return must(events.EncodeRecord(env, body))
}
