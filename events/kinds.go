package events

import (
	"errors"
	"fmt"
)

// Kind numbers a kind of event.
//
// The rules for change. A number never changes its meaning and is never given
// again. A new kind takes the next free number of its family. A new field of a
// kind is optional, takes the next free key, and a body without it means what
// it meant before; anything else is a new version of the kind, which older
// programs carry unread. There are no floats in a body: a number is kept as
// typed text and as an exact integer.
type Kind uint16

// The kinds. Do not reorder, do not reuse.
const (
	KindReceived    Kind = 1
	KindIdentified  Kind = 2
	KindSameUnit    Kind = 3
	KindNotSameUnit Kind = 4

	KindFaultFound   Kind = 10
	KindNoFaultFound Kind = 11

	KindPartReplaced Kind = 20
	KindWorkDone     Kind = 21

	KindReadingTaken Kind = 30
	KindFinalTest    Kind = 31

	KindEstimateGiven    Kind = 40
	KindEstimateAnswered Kind = 41
	KindWaitingBegun     Kind = 42
	KindWaitingEnded     Kind = 43
	KindShipped          Kind = 44
	KindNote             Kind = 45
	KindEvidenceAttached Kind = 46

	KindCorrected          Kind = 60
	KindWithdrawn          Kind = 61
	KindSettled            Kind = 62
	KindPersonRecorded     Kind = 63
	KindPersonForgotten    Kind = 64
	KindTestSheetDefined   Kind = 65
	KindInstrumentRecorded Kind = 66
	KindShopFounded        Kind = 67
	KindBenchAdmitted      Kind = 68
	KindBenchRetired       Kind = 69
	KindRowImported        Kind = 70
	KindFeedBegun          Kind = 71
	KindTermAdded          Kind = 72
	KindShopDay            Kind = 73
	KindOwnerNamed         Kind = 74
	KindShopKeySet         Kind = 75
	KindFeedReleased       Kind = 76
)

// Body is what an event of one kind says. Bodies are values.
type Body interface {
	Kind() Kind
	Validate() error
	Line() string // its line in a history
}

// Subject says what an event of a kind is about.
type Subject uint8

const (
	OfShop   Subject = iota // the shop as a whole
	OfUnit                  // a unit
	OfPerson                // a customer
	OfFeed                  // its own feed only
)

// KindRow is one row of the table of kinds.
type KindRow struct {
	Kind    Kind
	Name    string // of the type in a CloudEvent, and of its folder of kept bytes
	Subject Subject
	Version uint // highest version of the body this program reads
	decode  func([]byte) (Body, error)
	quick   func(*bodyReader) Body // nil for kinds of which there are few
	zero    Body
}

// Kinds is the table of kinds, by number.
var Kinds = []KindRow{
	quickRow[Received]("unit.received", OfUnit, readReceived),
	row[Identified]("unit.identified", OfUnit),
	row[SameUnit]("unit.same", OfUnit),
	row[NotSameUnit]("unit.apart", OfUnit),
	quickRow[FaultFound]("fault.found", OfUnit, readFaultFound),
	row[NoFaultFound]("fault.none", OfUnit),
	quickRow[PartReplaced]("part.replaced", OfUnit, readPartReplaced),
	row[WorkDone]("work.done", OfUnit),
	quickRow[ReadingTaken]("reading.taken", OfUnit, readReadingTaken),
	row[FinalTest]("test.final", OfUnit),
	row[EstimateGiven]("estimate.given", OfUnit),
	row[EstimateAnswered]("estimate.answered", OfUnit),
	quickRow[WaitingBegun]("waiting.begun", OfUnit, readWaitingBegun),
	quickRow[WaitingEnded]("waiting.ended", OfUnit, readWaitingEnded),
	quickRow[Shipped]("unit.shipped", OfUnit, readShipped),
	row[Note]("note", OfUnit),
	row[EvidenceAttached]("evidence.attached", OfUnit),
	row[Corrected]("corrected", OfUnit),
	row[Withdrawn]("withdrawn", OfUnit),
	row[Settled]("settled", OfUnit),
	row[PersonRecorded]("person.recorded", OfPerson),
	row[PersonForgotten]("person.forgotten", OfPerson),
	row[TestSheetDefined]("sheet.defined", OfShop),
	row[InstrumentRecorded]("instrument.recorded", OfShop),
	row[ShopFounded]("shop.founded", OfShop),
	row[BenchAdmitted]("bench.admitted", OfShop),
	row[BenchRetired]("bench.retired", OfShop),
	row[RowImported]("row.imported", OfUnit),
	row[FeedBegun]("feed.begun", OfFeed),
	row[TermAdded]("term.added", OfShop),
	row[ShopDay]("shop.day", OfShop),
	row[OwnerNamed]("owner.named", OfShop),
	row[ShopKeySet]("key.set", OfShop),
	row[FeedReleased]("feed.released", OfShop),
}

func row[B Body](name string, s Subject) KindRow {
	var zero B
	return KindRow{zero.Kind(), name, s, 1, decodeAs[B], nil, zero}
}

func decodeAs[B Body](raw []byte) (Body, error) {
	var b B
	if err := bodyDecoder.Unmarshal(raw, &b); err != nil {
		return nil, err
	}
	return b, nil
}

// byNumber finds a row without a search: kinds are small numbers.
var byNumber = func() (t [128]*KindRow) {
	for i := range Kinds {
		t[Kinds[i].Kind] = &Kinds[i]
	}
	return t
}()

// FindKind gives a kind's row, or false for one this program does not know.
func FindKind(k Kind) (KindRow, bool) {
	if int(k) >= len(byNumber) || byNumber[k] == nil {
		return KindRow{}, false
	}
	return *byNumber[k], true
}

// KindNamed finds a kind by its name.
func KindNamed(name string) (KindRow, bool) {
	for _, r := range Kinds {
		if r.Name == name {
			return r, true
		}
	}
	return KindRow{}, false
}

// String is the kind's name, or its number where it is unknown.
func (k Kind) String() string {
	if r, ok := FindKind(k); ok {
		return r.Name
	}
	return fmt.Sprintf("kind.%d", uint16(k))
}

// New gives an empty body of the kind.
func (r KindRow) New() Body { return r.zero }

// bookkeeping reports whether the kind acts on other events or on the shop:
// such an event is withdrawn, never corrected.
func (k Kind) bookkeeping() bool { return k >= 60 && k < 80 }

// Joins reports whether the kind says which units are one.
func (k Kind) Joins() bool { return k == KindSameUnit || k == KindNotSameUnit }

// DecodeBody reads a body of a kind and version. It gives ErrUnread for one
// that only a newer program knows.
func DecodeBody(k Kind, version uint, raw []byte) (Body, error) {
	if newer(k, version) {
		return nil, ErrUnread
	}
	r := byNumber[k]
	if r.quick != nil {
		if b, ok := readQuickly(raw, r.quick); ok {
			return b, nil
		}
	}
	b, err := r.decode(raw)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %v", r.Name, ErrMalformed, err)
	}
	return b, nil
}

// newer reports whether a kind, or this version of it, is unknown to this program.
func newer(k Kind, version uint) bool {
	r, ok := FindKind(k)
	return !ok || max(version, 1) > r.Version
}

// Line is the line of a body in a history, also of one that can't be read.
func Line(k Kind, version uint, raw []byte) string {
	b, err := DecodeBody(k, version, raw)
	switch {
	case isUnread(err):
		return fmt.Sprintf("%s: %v", k, ErrUnread)
	case err != nil:
		return err.Error()
	}
	return b.Line()
}

func isUnread(err error) bool { return errors.Is(err, ErrUnread) }
