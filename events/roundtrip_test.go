package events_test

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
	"time"

	"oldhand/events"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// Any valid draft comes back from its record as it went in: envelope and body.
func TestAnyValidDraftComesBackFromItsRecord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDraft(t)
		id := drawEventID(t, "id")
		env, raw, err := d.Make(id)
		if err != nil {
			t.Fatal(err)
		}
		rec, err := events.EncodeRecord(env, raw)
		if err != nil {
			t.Fatal(err)
		}
		gotEnv, gotRaw, err := events.DecodeRecord(rec)
		if err != nil {
			t.Fatal(err)
		}
		if gotEnv != env || !bytes.Equal(gotRaw, raw) {
			t.Fatalf("head came back as %+v, went in as %+v", gotEnv, env)
		}
		body, err := events.DecodeBody(gotEnv.Kind, gotEnv.Version, gotRaw)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(d.Body, body); diff != "" {
			t.Fatalf("body (-in +out):\n%s", diff)
		}
		if again := encoded(body); !bytes.Equal(again, raw) {
			t.Fatalf("body encodes to\n%x\nand then to\n%x", raw, again)
		}
		if body.Line() != d.Body.Line() {
			t.Fatalf("line %q, was %q", body.Line(), d.Body.Line())
		}
	})
}

// What Make fills in: the id of an event that names a new unit is the unit's.
func TestAnIntakeAboutNothingYetNamesANewUnit(t *testing.T) {
	for _, b := range []events.Body{full[events.Received](), full[events.Identified]()} {
		env, _, err := events.Draft{Body: b}.Make(eventID(7))
		if err != nil || env.Unit() != events.UnitID(eventID(7)) || env.ID != eventID(7) || env.Version != 1 {
			t.Errorf("%s: %+v, %v", b.Kind(), env, err)
		}
		env, _, err = events.Draft{About: unit, Body: b}.Make(eventID(7))
		if err != nil || env.Unit() != unit {
			t.Errorf("%s about a known unit: %+v, %v", b.Kind(), env, err)
		}
	}
	env, _, err := events.Draft{Body: full[events.TermAdded]()}.Make(eventID(7))
	if err != nil || env.About != [16]byte{} {
		t.Errorf("about the shop: %+v, %v", env, err)
	}
}

func TestAnyTimeComesBackFromItsBytesAndFromItsText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := drawWhen(t)
		raw, err := w.MarshalCBOR()
		if err != nil {
			t.Fatal(err)
		}
		var fromBytes, fromText events.When
		if err := fromBytes.UnmarshalCBOR(raw); err != nil || fromBytes != w {
			t.Fatalf("%x is read as %v, %v; was %v", raw, fromBytes, err, w)
		}
		text, err := w.MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		if err := fromText.UnmarshalText(text); err != nil || fromText != w {
			t.Fatalf("%s is read as %+v, %v; was %+v", text, fromText, err, w)
		}
	})
}

// drawDraft draws a valid draft of any kind.
func drawDraft(t *rapid.T) events.Draft {
	bodies := fullBodies()
	if rapid.Bool().Draw(t, "least") {
		bodies = leastBodies()
	}
	for _, e := range moreExamples() {
		bodies = append(bodies, e.draft.Body)
	}
	d := draftOf(shuffled(t, rapid.SampledFrom(bodies).Draw(t, "body")))
	d.At, d.By = drawWhen(t), strings.ReplaceAll(rapid.StringN(0, 20, events.MaxWord).Draw(t, "by"), "\x00", "")
	if r, _ := events.FindKind(d.Body.Kind()); r.Subject == events.OfUnit && rapid.Bool().Draw(t, "in a visit") {
		d.Visit = events.VisitID(drawEventID(t, "visit"))
	}
	if err := d.Validate(); err != nil {
		t.Fatalf("drew a draft that is not valid: %v", err)
	}
	return d
}

// shuffled gives random values to the fields of a body, one by one, and takes
// back each that breaks its rules.
func shuffled(t *rapid.T, b events.Body) events.Body {
	v := reflect.New(reflect.TypeOf(b)).Elem()
	v.Set(reflect.ValueOf(b))
	shuffle(t, v, func() bool { return v.Interface().(events.Body).Validate() == nil })
	return v.Interface().(events.Body)
}

func shuffle(t *rapid.T, v reflect.Value, valid func() bool) {
	switch x := v.Addr().Interface().(type) {
	case *events.When:
		try(v, reflect.ValueOf(drawWhen(t)), valid)
		return
	case *events.RawBody:
		return // the fact of a correction: covered by the kinds it can be of
	case *[]byte:
		try(v, reflect.ValueOf(rapid.SliceOfN(rapid.Byte(), len(*x), len(*x)).Draw(t, "bytes")), valid)
		return
	case *map[string]string:
		try(v, reflect.ValueOf(rapid.MapOfN(rapid.StringN(1, 9, 40), rapid.StringN(0, 9, 40), 1, 5).Draw(t, "map")), valid)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			shuffle(t, v.Field(i), valid)
		}
	case reflect.Slice:
		for i := range v.Len() {
			shuffle(t, v.Index(i), valid)
		}
	case reflect.Array:
		old := reflect.New(v.Type()).Elem()
		reflect.Copy(old, reflect.ValueOf(rapid.SliceOfN(rapid.Byte(), v.Len(), v.Len()).Draw(t, "array")))
		try(v, old, valid)
	case reflect.String:
		try(v, reflect.ValueOf(rapid.StringN(0, 30, 120).Draw(t, "text")), valid)
	case reflect.Int, reflect.Int8, reflect.Int32, reflect.Int64, reflect.Uint, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		try(v, reflect.ValueOf(rapid.OneOf(rapid.Int64Range(-3, 300), rapid.Int64()).Draw(t, "number")), valid)
	case reflect.Bool:
		try(v, reflect.ValueOf(rapid.Bool().Draw(t, "yes")), valid)
	default:
		t.Fatalf("a field of kind %s that this test does not draw", v.Kind())
	}
}

// try sets a field and takes that back if the body is not valid with it.
func try(field, value reflect.Value, valid func() bool) {
	old := reflect.New(field.Type()).Elem()
	old.Set(field)
	field.Set(value.Convert(field.Type()))
	if !valid() {
		field.Set(old)
	}
}

func drawWhen(t *rapid.T) events.When {
	first, last := events.NewDay(1850, 1, 1), events.NewDay(2500, 1, 1)
	d := events.Day(rapid.Int32Range(int32(first), int32(last)).Draw(t, "day"))
	switch rapid.IntRange(0, 2).Draw(t, "precision") {
	case 0:
		return events.When{}
	case 1:
		return events.OnDay(d)
	}
	zone := time.FixedZone("", 60*rapid.IntRange(-1439, 1439).Draw(t, "offset"))
	s := rapid.IntRange(0, 86399).Draw(t, "second")
	y, m, day := d.Date().Date()
	return events.AtTime(time.Date(y, m, day, s/3600, s/60%60, s%60, 0, zone))
}

func drawEventID(t *rapid.T, label string) events.EventID {
	b := rapid.SliceOfN(rapid.Byte(), 16, 16).Filter(func(b []byte) bool { return !bytes.Equal(b, make([]byte, 16)) }).Draw(t, label)
	return events.EventID(b)
}
