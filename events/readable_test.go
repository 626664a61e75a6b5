package events_test

import (
	"encoding/hex"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"oldhand/events"
)

// The readable text of a record is made here and not by the program's own
// JSON, so that a change to what pages and exports show never touches the
// kept texts.

func readable(t *testing.T, rec []byte) string {
	t.Helper()
	s, err := reading(rec)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// reading says what is read in a record.
func reading(rec []byte) (string, error) {
	env, raw, err := events.DecodeRecord(rec)
	if err != nil {
		return "", err
	}
	body, err := events.DecodeBody(env.Kind, env.Version, raw)
	if err != nil {
		return "", err
	}
	about := env.Unit().String()
	switch r, _ := events.FindKind(env.Kind); {
	case env.Unit().IsZero():
		about = "the shop"
	case r.Subject == events.OfPerson:
		about = events.PersonID(env.About).String()
	}
	visit := env.Visit.String()
	if env.Visit.IsZero() {
		visit = "none"
	}
	return fmt.Sprintf("id      %s\nkind    %d %s\nversion %d\nabout   %s\nvisit   %s\nat      %s\nby      %q\nline    %s\nbody    %s\n",
		env.ID, env.Kind, env.Kind, env.Version, about, visit, env.At, env.By, body.Line(), jsonOf(reflect.ValueOf(body), "")), nil
}

// jsonOf writes a value as JSON, one field a line. Ids and times are their
// text, bytes hexadecimal digits, fields without a value left out.
func jsonOf(v reflect.Value, indent string) string {
	deeper := indent + "  "
	switch x := v.Interface().(type) {
	case events.Fact:
		return factJSON(x, indent)
	case fmt.Stringer:
		return strconv.Quote(x.String())
	}
	switch v.Kind() {
	case reflect.Struct:
		var fields []string
		for i := range v.NumField() {
			if !v.Field(i).IsZero() {
				fields = append(fields, fmt.Sprintf("%q: %s", v.Type().Field(i).Name, jsonOf(v.Field(i), deeper)))
			}
		}
		return enclosed("{", "}", fields, indent)
	case reflect.Array, reflect.Slice:
		return listJSON(v, indent)
	case reflect.Map:
		texts := v.Interface().(map[string]string)
		var fields []string
		for _, k := range slices.Sorted(maps.Keys(texts)) {
			fields = append(fields, fmt.Sprintf("%q: %q", k, texts[k]))
		}
		return enclosed("{", "}", fields, indent)
	case reflect.String:
		return strconv.Quote(v.String())
	}
	return fmt.Sprint(v.Interface())
}

func listJSON(v reflect.Value, indent string) string {
	if v.Type().Elem().Kind() == reflect.Uint8 {
		b := make([]byte, v.Len())
		reflect.Copy(reflect.ValueOf(b), v)
		return strconv.Quote(hex.EncodeToString(b))
	}
	var items []string
	for i := range v.Len() {
		items = append(items, jsonOf(v.Index(i), indent+"  "))
	}
	return enclosed("[", "]", items, indent)
}

// factJSON shows the event inside a correction with its own body read.
func factJSON(f events.Fact, indent string) string {
	deeper := indent + "  "
	body, err := events.DecodeBody(f.Kind, f.Version, f.Body)
	if err != nil {
		return strconv.Quote(err.Error())
	}
	fields := []string{fmt.Sprintf("%q: %q", "Kind", f.Kind), fmt.Sprintf("%q: %d", "Version", f.Version), fmt.Sprintf("%q: %q", "At", f.At)}
	if f.By != "" {
		fields = append(fields, fmt.Sprintf("%q: %q", "By", f.By))
	}
	if !f.Visit.IsZero() {
		fields = append(fields, fmt.Sprintf("%q: %q", "Visit", f.Visit))
	}
	return enclosed("{", "}", append(fields, `"Body": `+jsonOf(reflect.ValueOf(body), deeper)), indent)
}

func enclosed(open, shut string, items []string, indent string) string {
	if len(items) == 0 {
		return open + shut
	}
	return open + "\n" + indent + "  " + strings.Join(items, ",\n"+indent+"  ") + "\n" + indent + shut
}
