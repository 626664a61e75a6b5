package app

import (
	"fmt"
	"reflect"
	"strconv"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Correctable is a field of an entry as a form shows it: the name that Correct
// takes, and the value as it would be typed.
type Correctable struct {
	Name, Value string
	Number      bool // nothing typed is none
}

// CorrectableOf are the fields of one entry of a unit, which is named by the end
// of its id, and the entry's line.
func (s *Shop) CorrectableOf(typed, entry string) (fields []Correctable, line string, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		e, err := named(h, entry, entriesOf(h))
		if err != nil {
			return err
		}
		body := e.Decode()
		if body == nil {
			return cantCorrect(e)
		}
		line = e.Line()
		fields = append(correctable(reflect.ValueOf(body)), Correctable{Name: "at", Value: whenTyped(e.At)}, Correctable{Name: "by", Value: e.By})
		return nil
	})
	return fields, line, err
}

// whenTyped is a time as ParseAt reads it.
func whenTyped(w events.When) string {
	if w.Precision == events.Unknown {
		return ""
	}
	return w.String()
}

// correctable are the fields that can be set from text.
func correctable(v reflect.Value) (fields []Correctable) {
	for i := range v.NumField() {
		f, name := v.Field(i), fieldName(v.Type().Field(i).Name, '-')
		switch x := f.Interface().(type) {
		case events.Marking:
			fields = append(fields, Correctable{Name: name, Value: x.Text})
			continue
		case fmt.Stringer:
			continue // ids, which nobody types
		}
		switch f.Kind() {
		case reflect.String:
			fields = append(fields, Correctable{Name: name, Value: f.String()})
		case reflect.Bool:
			fields = append(fields, Correctable{Name: name, Value: strconv.FormatBool(f.Bool())})
		case reflect.Int, reflect.Int64:
			fields = append(fields, Correctable{name, numberTyped(name, f.Int()), true})
		}
	}
	return fields
}

// numberTyped is a number as assign reads it, nothing for none.
func numberTyped(name string, n int64) string {
	switch {
	case n == 0:
		return ""
	case isMoney(name):
		return MoneyTyped(n)
	}
	return strconv.FormatInt(n, 10)
}

// MoneyTyped is an amount as Money reads it.
func MoneyTyped(minor int64) string { return fmt.Sprintf("%d.%02d", minor/100, minor%100) }
