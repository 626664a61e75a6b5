package eventlog_test

import (
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// What a commit did not write it left unchanged, and what it wrote it did not.
func TestAViewKnowsWhatDidNotChangeSince(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 311)
	put := func(keys ...string) {
		t.Helper()
		err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
			for _, k := range keys {
				tx.Put([]byte(k), []byte("v"))
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	now := func() *eventlog.View { return lastView(t, l) }
	put("t1abc", "p2")
	first := now()
	put("t2abc", "h1")
	second := now()
	for prefix, want := range map[string]bool{"t1": true, "t1abc": true, "p": true, "t2": false, "t": false, "h": false, "": false, "q": true} {
		if got := second.Unchanged(first.Commit(), []byte(prefix)); got != want {
			t.Errorf("unchanged under %q: %v, want %v", prefix, got, want)
		}
		if !second.Unchanged(second.Commit(), []byte(prefix)) {
			t.Errorf("changed under %q since the same commit", prefix)
		}
	}
	if !second.KeysUnchanged(first.Commit()) {
		t.Error("the keyring counts as changed")
	}
	savePerson(t, l, events.PersonID{1}, events.PersonKey{2})
	third := now()
	if third.KeysUnchanged(second.Commit()) || !third.KeysUnchanged(third.Commit()) {
		t.Error("a key that came is not seen")
	}
	if second.Unchanged(third.Commit(), []byte("q")) {
		t.Error("a view knows what a later one is like")
	}

	// Views that were written anew are other ones, whatever they hold.
	if err := l.Rewrite("1", func(*eventlog.Bulk) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if fourth := now(); fourth.Unchanged(third.Commit(), []byte("q")) || !fourth.Unchanged(fourth.Commit(), nil) {
		t.Error("after a rewrite views count as unchanged, or not even since then")
	}
}

// lastView is a log as it was last committed, until the test ends.
func lastView(t *testing.T, l *eventlog.Log) *eventlog.View {
	t.Helper()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(v.Close)
	return v
}

// Of whom something was written since, a view says, and of what is in no view yet the
// action.
func TestAViewKnowsOfWhomSomethingWasWrittenSince(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 312)
	commits := func() *eventlog.View { return lastView(t, l) }
	only := func(what string, got eventlog.FirstBytes, want ...byte) {
		t.Helper()
		var f eventlog.FirstBytes
		for _, b := range want {
			f[b] = true
		}
		if got != f {
			t.Errorf("%s: ids that begin with %v, want %v", what, bytesIn(got), want)
		}
	}
	savePerson(t, l, events.PersonID{1}, events.PersonKey{2})
	first := commits()
	savePerson(t, l, events.PersonID{0xff, 4}, events.PersonKey{2})
	err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
		only("an action that wrote nothing", tx.PersonsWritten('p'))
		tx.Put([]byte{'p', 7, 1}, nil)
		tx.Put([]byte{'q', 8, 1}, nil)
		only("a view and none of another class", tx.PersonsWritten('p'), 7)
		err := tx.PutPersonKey(events.PersonID{9}, events.PersonKey{2})
		only("a view and a key", tx.PersonsWritten('p'), 7, 9)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	second := commits()
	only("since a commit", second.PersonsSince(first.Commit(), 'p'), 7, 9, 0xff)
	only("since the same commit", second.PersonsSince(second.Commit(), 'p'))
	if later := first.PersonsSince(second.Commit(), 'p'); !later[0] || !later[255] {
		t.Error("a view knows what a later one is like")
	}
	if err := l.Rewrite("1", func(*eventlog.Bulk) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if anew := commits().PersonsSince(second.Commit(), 'p'); !anew[0] || !anew[255] {
		t.Error("views that were written anew count as those from before")
	}
}

func bytesIn(f eventlog.FirstBytes) (list []int) {
	for b, is := range f {
		if is {
			list = append(list, b)
		}
	}
	return list
}
