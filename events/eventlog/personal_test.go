package eventlog_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// customer is a person whose name must not be found on the disk.
var customer = events.Personal{Name: "Wilhelmina Quarterlight", Phone: "+49 30 5550177", Email: "wq@example.org", City: "Altenweiler"}

// savePerson records a person, with the key beside the log.
func savePerson(t *testing.T, l *eventlog.Log, id events.PersonID, key events.PersonKey) {
	t.Helper()
	body, err := customer.Seal(id, key, [24]byte{9, 9, 9})
	if err != nil {
		t.Fatal(err)
	}
	err = l.Append(t.Context(), func(tx *eventlog.Tx) error {
		if _, err := tx.PersonKey(id); err == nil {
			t.Error("the key is there before it is put")
		}
		if err := tx.PutPersonKey(id, key); err != nil {
			t.Error(err)
		}
		if got, err := tx.PersonKey(id); err != nil || got != key {
			t.Errorf("inside the action the key is %x (%v)", got, err)
		}
		_, err := tx.Add(events.Draft{About: id, Body: body})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// The catalogue's canary test: nothing of what was sealed stands anywhere in
// the folder in clear, whether in the write-ahead log, in tables or after they
// were rewritten.
func TestP15_SealedNameIsNowhereOnTheDisk(t *testing.T) {
	l, b, folder := eventstest.InTemp(t, 120)
	id, key := events.PersonID{1, 2, 3}, events.PersonKey{4, 5, 6}
	savePerson(t, l, id, key)
	eventstest.SaveNotes(t, l, unit, "a word that is found", 1)
	wantCanary(t, folder, "a word that is found", true)
	wantNoName(t, folder)
	if err := l.Flush(); err != nil {
		t.Fatal(err)
	}
	wantNoName(t, folder)
	if err := l.Compact(t); err != nil {
		t.Fatal(err)
	}
	wantNoName(t, folder)
	closeLog(t, l)
	wantNoName(t, folder)

	l = eventstest.Open(t, b.InFolder(folder))
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	kept, err := v.PersonKey(id)
	if err != nil || kept != key {
		t.Fatalf("the key is %x (%v)", kept, err)
	}
	evs, err := v.Events(id)
	if err != nil || len(evs) != 1 {
		t.Fatalf("%d events about the person (%v)", len(evs), err)
	}
	body, err := evs[0].Body()
	if err != nil {
		t.Fatal(err)
	}
	if got, err := body.(events.PersonRecorded).Open(id, kept); err != nil || got != customer {
		t.Errorf("opened: %+v (%v)", got, err)
	}
	_, err = v.PersonKey(events.PersonID{7})
	wantErr(t, err, events.ErrForgotten)
	n := 0
	err = v.PersonKeys(func(p events.PersonID, k events.PersonKey) error {
		if n++; p != id || k != key {
			t.Errorf("key %x of %s", k, p)
		}
		return nil
	})
	if err != nil || n != 1 {
		t.Errorf("%d keys (%v)", n, err)
	}
}

func wantNoName(t *testing.T, folder string) {
	t.Helper()
	for _, s := range []string{customer.Name, "Quarterlight", customer.Phone, customer.Email, customer.City} {
		wantCanary(t, folder, s, false)
	}
}

// wantCanary looks for a text in every file of a folder.
func wantCanary(t *testing.T, folder, text string, want bool) {
	t.Helper()
	found := filesWith(t, folder, text)
	for end := time.Now().Add(20 * time.Second); !want && len(found) > 0 && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		found = filesWith(t, folder, text) // the store deletes files that it no longer needs on a goroutine of its own
	}
	switch {
	case want && len(found) == 0:
		t.Errorf("%q, which is not sealed, is not found: the search is no good", text)
	case !want && len(found) > 0:
		t.Errorf("%q stands in %v", text, found)
	}
}

// filesWith are the files below a folder that hold a text.
func filesWith(t *testing.T, folder, text string) (names []string) {
	t.Helper()
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) || err == nil && d.IsDir() {
			return nil // it went meanwhile
		}
		if err != nil {
			return err
		}
		b, err := os.ReadFile(path)
		if bytes.Contains(b, []byte(text)) {
			names = append(names, filepath.Base(path))
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// Once a person is forgotten no key of theirs comes back, in the same action or
// in a later one.
func TestAForgottenPersonsKeyIsNeverPutBack_P15(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 121)
	id, key, order := events.PersonID{1, 2, 3}, events.PersonKey{4, 5, 6}, events.ForgetOrder{7}
	savePerson(t, l, id, key)
	put := func(also error, entries ...events.KeyEntry) {
		t.Helper()
		var last error
		err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
			for _, e := range entries {
				last = tx.KeepPerson(e)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		wantErr(t, last, also)
	}
	put(events.ErrForgotten, events.KeyEntry{Person: id, Order: order}, events.KeyEntry{Person: id, Key: key})
	put(events.ErrForgotten, events.KeyEntry{Person: id, Key: key})
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	_, err = v.PersonKey(id)
	wantErr(t, err, events.ErrForgotten)
	if e, err := v.Person(id); err != nil || e.Order != order || e.Key != (events.PersonKey{}) {
		t.Errorf("the keyring has %+v (%v)", e, err)
	}
	if err := v.PersonKeys(func(p events.PersonID, _ events.PersonKey) error {
		t.Errorf("a key of %s, who was forgotten", p)
		return nil
	}); err != nil {
		t.Error(err)
	}
}
