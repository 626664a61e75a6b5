package events_test

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"oldhand/events"
)

// valid is what has rules of its own: every body, a draft, a time, what is
// known of a person.
type valid interface{ Validate() error }

// broken breaks exactly one clause of a type's rules and says which: the error
// must be the clause's whole sentence.
type broken struct {
	of     string // the type
	clause string
	value  valid
	inner  bool // the clause belongs to the rules of something inside
}

// brokenClauses is the whole table. TestEveryClauseOfEveryValidateHasARow
// reads the source to see that it is.
func brokenClauses() []broken {
	var all []broken
	for _, rows := range [][]broken{
		brokenIntake(), brokenDiagnosisAndRepair(), brokenMeasurement(), brokenVisit(),
		brokenCorrections(), brokenRoster(), brokenOwners(), brokenSheets(), brokenDrafts(), brokenWhens(), brokenPersonal(),
	} {
		all = append(all, rows...)
	}
	return all
}

func TestABodyWithOneClauseBrokenIsRefusedWithThatClause(t *testing.T) {
	for _, b := range brokenClauses() {
		t.Run(b.of+"/"+strings.ToValidUTF8(b.clause, "?"), func(t *testing.T) {
			err := b.value.Validate()
			var invalid *events.Invalid
			if !errors.As(err, &invalid) {
				t.Fatalf("got %v, want a broken clause", err)
			}
			if err.Error() != b.clause {
				t.Fatalf("got  %q\nwant %q", err, b.clause)
			}
		})
	}
}

// A kind is missing here only if somebody added its row and no example.
func TestEveryKindHasAFullAndALeastBodyAndBothAreValid(t *testing.T) {
	for _, bodies := range [][]events.Body{fullBodies(), leastBodies()} {
		have := map[events.Kind]events.Body{}
		for _, b := range bodies {
			have[b.Kind()] = b
		}
		for _, r := range events.Kinds {
			b, ok := have[r.Kind]
			if !ok {
				t.Errorf("%s has no example body", r.Name)
				continue
			}
			if err := b.Validate(); err != nil {
				t.Errorf("%s: %v", r.Name, err)
			}
			if err := draftOf(b).Validate(); err != nil {
				t.Errorf("%s as a draft: %v", r.Name, err)
			}
		}
	}
}

// A full body is what each row of the table changes, so a field it leaves out
// would go untested. Full bodies are kept bytes: a field that a kind got later
// is set in a further example.
func TestAFullBodyLeavesNoFieldOut(t *testing.T) {
	later := map[string]bool{}
	for _, e := range moreExamples() {
		b := e.draft.Body
		fieldsSet(reflect.TypeOf(b).Name(), reflect.ValueOf(b), func(path string, set bool) { later[path] = later[path] || set })
	}
	for _, b := range fullBodies() {
		fieldsSet(reflect.TypeOf(b).Name(), reflect.ValueOf(b), func(path string, set bool) {
			if !set && !later[path] {
				t.Errorf("%s is not set in the full body, nor in a further example", path)
			}
		})
	}
}

// fieldsSet looks into structs and into the first entry of lists. A time of which only the day is known leaves the rest out by its rules.
func fieldsSet(path string, v reflect.Value, tell func(path string, set bool)) {
	tell(path, !v.IsZero())
	switch {
	case v.Type() == reflect.TypeFor[events.When]():
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			fieldsSet(path+"."+v.Type().Field(i).Name, v.Field(i), tell)
		}
	case v.Kind() == reflect.Slice && v.Len() > 0 && v.Type().Elem().Kind() != reflect.Uint8:
		fieldsSet(path+"[]", v.Index(0), tell)
	}
}

// What stands exactly at a limit is valid: the rows above break each limit by
// one.
func TestAtTheLimitIsStillValid(t *testing.T) {
	w, x := strings.Repeat("w", events.MaxWord), strings.Repeat("x", events.MaxText)
	ids := make([]events.EventID, events.MaxList)
	for i := range ids {
		ids[i] = eventID(byte(i))
	}
	for _, b := range []valid{
		changed(func(b *events.Received) {
			b.Maker, b.KindOfSet, b.Complaint, b.Tag = w, w, x, strings.Repeat("1", events.MaxTag)
		}),
		changed(func(b *events.Received) { b.YearFrom, b.YearTo = 1880, 2200 }),
		changed(func(b *events.Received) { b.YearFrom, b.YearTo = 2200, 2200 }),
		changed(func(b *events.Received) { b.YearTo = 0 }),
		changed(func(b *events.Withdrawn) { b.Withdraws = ids }),
		changed(func(b *events.PartReplaced) {
			b.In.Volts, b.In.Sections = 1_000_000, []events.Quantity{{Mant: 1, Exp: 30, Unit: w}, {Mant: 1, Exp: -30}}
		}),
		changed(func(b *events.WorkDone) { b.Minutes = 44_640 }),
		changed(func(b *events.Shipped) { b.WarrantyDays, b.Charge, b.Currency = events.MaxWarrantyDays, 0, "" }),
		changed(func(b *events.PersonRecorded) { b.Sealed = make([]byte, events.MaxText) }),
		changed(func(b *events.BenchAdmitted) { b.Number = events.MaxBenches }),
		events.OnDay(events.NewDay(1850, 1, 1)), events.OnDay(events.NewDay(2500, 1, 1)),
		events.When{Precision: events.ToSecond, Second: 86399, Offset: 1439},
		events.When{Precision: events.ToSecond, Offset: -1439},
	} {
		if err := b.Validate(); err != nil {
			t.Errorf("%T: %v", b, err)
		}
	}
}

// full is the full body of a type.
func full[B events.Body]() B {
	for _, b := range fullBodies() {
		if b, ok := b.(B); ok {
			return b
		}
	}
	panic(fmt.Sprintf("no full body of %T", *new(B)))
}

// changed is the full body of a type with one change.
func changed[B events.Body](change func(*B)) B {
	b := full[B]()
	change(&b)
	return b
}

func breaks[B events.Body](clause string, change func(*B)) broken {
	return broken{of: typeName[B](), clause: clause, value: changed(change)}
}

// inside breaks a clause of the rules of something the body holds.
func inside[B events.Body](clause string, change func(*B)) broken {
	b := breaks(clause, change)
	b.inner = true
	return b
}

func typeName[T any]() string { return reflect.TypeFor[T]().Name() }

const notUTF8 = "caf\xe9" // Latin-1, as an old export has it

const withZero = "Ostrel\x00" // as a table of fixed widths has it

// words breaks the clauses of a word.
func words[B events.Body](what string, set func(*B, string)) []broken {
	return sized(what, events.MaxWord, set)
}

// texts breaks the clauses of a text.
func texts[B events.Body](what string, set func(*B, string)) []broken {
	return sized(what, events.MaxText, set)
}

func sized[B events.Body](what string, limit int, set func(*B, string)) []broken {
	return []broken{
		breaks(fmt.Sprintf("%s: %d bytes, at most %d", what, limit+1, limit), func(b *B) { set(b, strings.Repeat("w", limit+1)) }),
		breaks(what+": not UTF-8", func(b *B) { set(b, notUTF8) }),
		breaks(what+": there is a zero byte in it", func(b *B) { set(b, withZero) }),
	}
}

// rowIDs breaks the clauses of an id of a table's row. That it is UTF-8
// follows from its form.
func rowIDs[B events.Body](what string, set func(*B, string)) []broken {
	rows := words(what, set)[:1]
	for _, id := range []string{"Two words", "-dash-first", "UPPER", "caf\u00e9"} {
		rows = append(rows, breaks(fmt.Sprintf("%s: %q is not the id of a table's row", what, id), func(b *B) { set(b, id) }))
	}
	return rows
}

// choices breaks the clause of a word out of a few.
func choices[B events.Body](what, allowed string, set func(*B, string)) []broken {
	return []broken{breaks(fmt.Sprintf("%s: %q is none of %s", what, "perhaps", allowed), func(b *B) { set(b, "perhaps") })}
}

// lists breaks the clause of a list's length.
func lists[B events.Body](what string, set func(*B, int)) []broken {
	n := events.MaxList + 1
	return []broken{breaks(fmt.Sprintf("%s: %d entries, at most %d", what, n, events.MaxList), func(b *B) { set(b, n) })}
}

func joinRows(parts ...[]broken) (all []broken) {
	for _, p := range parts {
		all = append(all, p...)
	}
	return all
}
