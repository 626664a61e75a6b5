package oddshop

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"

	"oldhand/events"
)

// maker draws bodies of any kind.
type maker struct {
	rng      *rand.Rand
	huge     []string // that were not given yet
	units    []events.UnitID
	visit    events.VisitID
	said     []events.EventID // about any unit
	persons  []events.PersonID
	contents []events.Hash // of photos
	deep     bool          // in a fact of a correction
}

func oneOf[T any](m *maker, of ...T) T { return of[m.rng.IntN(len(of))] }

func (m *maker) chance(n int) bool { return m.rng.IntN(n) == 0 }

// body is an odd body of a kind.
func (m *maker) body(row events.KindRow) (events.Body, error) {
	v := reflect.New(reflect.TypeOf(row.New())).Elem()
	if err := m.fill(v, ""); err != nil {
		return nil, fmt.Errorf("%s: %w", row.Name, err)
	}
	return v.Interface().(events.Body), nil
}

// fill draws a value of any type that stands in a body.
func (m *maker) fill(v reflect.Value, field string) error {
	switch x := v.Addr().Interface().(type) {
	case *events.RawBody:
		return m.raw(x)
	case *events.Kind:
		*x = events.Kinds[m.rng.IntN(len(events.Kinds))].Kind
		if m.chance(5) {
			*x = oneOf[events.Kind](m, 0, 127, 128, 999, math.MaxUint16)
		}
		return nil
	case *events.When:
		*x = m.when()
		return nil
	case *events.UnitID:
		*x = oneOf(m, m.units...)
		return nil
	case *events.VisitID:
		*x = oneOf(m, m.visit, events.VisitID{}, events.VisitID(m.units[0]))
		return nil
	case *events.EventID:
		if len(m.said) > 0 && !m.chance(8) {
			*x = oneOf(m, m.said...)
		}
		return nil
	case *events.Hash:
		*x = oneOf(m, m.contents...)
		return nil
	case *events.PersonID:
		*x = oneOf(m, m.persons...)
		return nil
	}
	return m.plain(v, field)
}

// plain fills what is no type of the events' own.
func (m *maker) plain(v reflect.Value, field string) error {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if err := m.fill(v.Field(i), v.Type().Field(i).Name); err != nil {
				return err
			}
		}
	case reflect.Slice:
		n := oneOf(m, 0, 1, 2, 3)
		if v.Type().Elem().Kind() == reflect.Uint8 {
			n = oneOf(m, 0, 1, 24, 40, 64, 300)
		}
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			if err := m.fill(v.Index(i), field); err != nil {
				return err
			}
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		for range oneOf(m, 0, 1, 4) {
			v.SetMapIndex(reflect.ValueOf(m.text("")), reflect.ValueOf(m.text("")))
		}
	case reflect.String:
		v.SetString(m.text(field))
	case reflect.Bool:
		v.SetBool(m.chance(2))
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		v.SetInt(m.number(v.Type().Bits()))
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64, reflect.Uint:
		v.SetUint(uint64(m.number(64)) & (math.MaxUint64 >> (64 - v.Type().Bits())))
	default:
		return fmt.Errorf("a field %s of %s: nothing is drawn for it", field, v.Type())
	}
	return nil
}

// number is one that goes into so many bits.
func (m *maker) number(bits int) int64 {
	most := int64(math.MaxInt64) >> (64 - bits)
	n := oneOf(m, 0, 1, -1, 3, 90, 127, -127, 1962, 2026, 9999, -1962, 20_000, 1<<31-1, -1<<31, 1<<53+1, most, most-1, -most, -most-1, m.rng.Int64())
	return min(max(n, -most-1), most)
}

func (m *maker) text(field string) string {
	if len(m.huge) > 0 && m.chance(150) {
		s := m.huge[0]
		m.huge = m.huge[1:]
		return s
	}
	if some := likely[field]; len(some) > 0 && m.chance(2) {
		return oneOf(m, some...)
	}
	if m.chance(3) {
		return oneOf(m, texts...) + oneOf(m, texts...)
	}
	return oneOf(m, texts...)
}

// when is a time that a record can hold: the rules for it are of the record, not of a kind.
func (m *maker) when() events.When {
	day := oneOf(m, events.NewDay(1850, 1, 1), events.NewDay(2500, 1, 1), 0, -1, events.NewDay(2026, 11, 20), events.NewDay(2026, 11, 24), events.NewDay(2024, 2, 29))
	switch m.rng.IntN(4) {
	case 0:
		return events.When{}
	case 1:
		return events.When{Precision: events.ToSecond, Day: day, Second: oneOf[int32](m, 0, 86399), Offset: oneOf[int16](m, 0, -1439, 1439)}
	}
	return events.OnDay(day)
}

// raw is a body in a correction: an odd one, one that does not read, or one more
// correction.
func (m *maker) raw(to *events.RawBody) (err error) {
	if m.deep || m.chance(5) {
		*to = unreadable()
		return nil
	}
	m.deep = true
	defer func() { m.deep = false }()
	b, err := m.body(events.Kinds[m.rng.IntN(len(events.Kinds))])
	if err == nil {
		*to, err = events.EncodeBody(b)
	}
	return err
}

// unreadable is a map as every body is one (RFC 8949), whose values are no kind's: its
// first is an array, its second an empty map.
func unreadable() events.RawBody { return events.RawBody{0xa2, 0x01, 0x82, 0x01, 0x02, 0x02, 0xa0} }
