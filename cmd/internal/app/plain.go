package app

import (
	"encoding/hex"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode"

	"oldhand/events"
)

// Bodies as plain names and values: for the data of a CloudEvent, and for a
// correction that sets one field of a fact by its name.

// plainOf is a body as a tree of plain values, without what is empty.
func plainOf(b events.Body) map[string]any {
	m, _ := plain(reflect.ValueOf(b)).(map[string]any)
	if m == nil {
		m = map[string]any{}
	}
	return m
}

func plain(v reflect.Value) any {
	switch x := v.Interface().(type) {
	case fmt.Stringer:
		return x.String()
	case events.Fact:
		m := plainStruct(reflect.ValueOf(struct {
			At events.When
			By string
		}{x.At, x.By}))
		m["kind"], m["version"] = x.Kind.String(), max(x.Version, 1)
		if !x.Visit.IsZero() {
			m["visit"] = x.Visit.String()
		}
		if body, err := events.DecodeBody(x.Kind, x.Version, x.Body); err == nil {
			m["body"] = plainOf(body)
		}
		return m
	case events.RawBody:
		return hex.EncodeToString(x)
	case []byte:
		return hex.EncodeToString(x)
	case [16]byte:
		return hex.EncodeToString(x[:])
	case [32]byte:
		return hex.EncodeToString(x[:])
	}
	switch v.Kind() {
	case reflect.Struct:
		return plainStruct(v)
	case reflect.Slice:
		list := make([]any, v.Len())
		for i := range list {
			list[i] = plain(v.Index(i))
		}
		return list
	}
	return v.Interface()
}

func plainStruct(v reflect.Value) map[string]any {
	m := map[string]any{}
	for i := range v.NumField() {
		if f := v.Field(i); !f.IsZero() {
			m[fieldName(v.Type().Field(i).Name, '_')] = plain(f)
		}
	}
	return m
}

// fieldName is a Go name in small letters, its words parted by sep.
func fieldName(name string, sep byte) string {
	var b strings.Builder
	for i, r := range name {
		if unicode.IsUpper(r) && i > 0 && !unicode.IsUpper(rune(name[i-1])) {
			b.WriteByte(sep)
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// set changes fields of a body by name: "model=R-950", "year-from=1968",
// "in.text=47 pF".
func set(b events.Body, assignments []string) (events.Body, error) {
	v := reflect.New(reflect.TypeOf(b)).Elem()
	v.Set(reflect.ValueOf(b))
	for _, a := range assignments {
		name, value, ok := strings.Cut(a, "=")
		if !ok {
			return nil, &Wrong{a, "want FIELD=VALUE"}
		}
		f, err := fieldOf(v, name)
		if err != nil {
			return nil, err
		}
		if isMoney(name) {
			minor, err := Money(value)
			if err != nil {
				return nil, err
			}
			value = strconv.FormatInt(minor, 10)
		}
		if err := assign(f, value); err != nil {
			return nil, &Wrong{name, err.Error()}
		}
	}
	return v.Interface().(events.Body), nil
}

// isMoney reports whether a field is an amount, kept in hundredths and typed as
// people do.
func isMoney(name string) bool { return name == "charge" || name == "amount" }

func fieldOf(v reflect.Value, name string) (reflect.Value, error) {
	head, rest, deeper := strings.Cut(strings.ReplaceAll(name, "_", "-"), ".")
	var names []string
	for i := range v.NumField() {
		n := fieldName(v.Type().Field(i).Name, '-')
		if n != head {
			names = append(names, n)
			continue
		}
		if deeper && v.Field(i).Kind() == reflect.Struct {
			return fieldOf(v.Field(i), rest)
		}
		if deeper {
			return v, &Wrong{name, n + " has no parts"}
		}
		return v.Field(i), nil
	}
	return v, &Wrong{name, "no such field; there are: at, by, " + strings.Join(names, ", ")}
}

func assign(f reflect.Value, value string) error {
	switch f.Interface().(type) {
	case events.When:
		w, err := events.ParseWhen(value, time.Local)
		f.Set(reflect.ValueOf(w))
		return err
	case events.Marking:
		f.FieldByName("Text").SetString(value)
		return nil
	}
	switch f.Kind() {
	case reflect.String:
		f.SetString(value)
		return nil
	case reflect.Bool:
		on, err := strconv.ParseBool(value)
		f.SetBool(on)
		return err
	case reflect.Int, reflect.Int64:
		n, err := strconv.ParseInt(value, 10, 64)
		f.SetInt(n)
		return err
	}
	return fmt.Errorf("can't be set from text")
}
