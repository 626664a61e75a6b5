package web_test

import (
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/sharedtest"
)

// typing sends what a form holds, as forms.js does.
func typing(t testing.TB, s *served, form, about string, v url.Values) int {
	t.Helper()
	held := url.Values{"kept-form": {form}, "kept-about": {about}}
	for name, values := range v {
		held[name] = values
	}
	status, _ := s.post("/unsent", held)
	return status
}

// unitID is the id of a unit by its tag.
func unitID(t testing.TB, s *served, tag string) string {
	t.Helper()
	u, err := s.shop.AtBench(tag)
	if err != nil {
		t.Fatal(err)
	}
	return u.Unit
}

// drafts are the files in which something is kept.
func drafts(t testing.TB, dir string) (names []string) {
	t.Helper()
	err := filepath.WalkDir(filepath.Join(dir, "drafts"), func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, path)
		}
		return err
	})
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return names
}

func TestWhatIsTypedComesBackUntilItIsSaved(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	first := once(t, s.get(bench+"?do=replace"), "replace")
	if got := typing(t, s, "replace", unitID(t, s, tag), vals("designator", "C14", "in", "47 MMF", "once", first)); got != http.StatusNoContent {
		t.Fatalf("status %d", got)
	}
	files := drafts(t, s.dir)
	if len(files) != 1 {
		t.Fatalf("kept in %v", files)
	}
	if info, err := os.Stat(files[0]); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	page := s.get(bench + "?do=replace")
	wants(t, page, `value="C14"`, `value="47 MMF"`, "= 47 pF", "never saved", "Throw it away")
	if got := once(t, page, "replace"); got != first {
		t.Errorf("the form comes back as another one: %s, was %s", got, first)
	}
	if page := s.get(bench + "?do=measure"); strings.Contains(page, "never saved") {
		t.Error("another form holds it too")
	}
	if status, page := s.post(bench+"/replace", vals("designator", "C14", "in", "47 MMF", "once", first)); status != http.StatusOK {
		t.Fatalf("status %d: %s", status, page)
	}
	if files := drafts(t, s.dir); len(files) > 0 {
		t.Errorf("it is saved and still kept in %v", files)
	}
	if page := s.get(bench + "?do=replace"); strings.Contains(page, `name="designator" type="text" value="C14"`) {
		t.Error("it is saved and still in the form")
	}

	// A late word of the browser does not bring a saved form back.
	typing(t, s, "replace", unitID(t, s, tag), vals("designator", "C14", "in", "47 MMF", "once", first))
	if page := s.get(bench + "?do=replace"); strings.Contains(page, `name="designator" type="text" value="C14"`) {
		t.Error("a form that was saved comes back")
	}
}

func TestWhatIsTypedCanBeThrownAwayAndGoesWhenItIsOld(t *testing.T) {
	s := newShop(t)
	typing(t, s, "receive", "", vals("maker", "Ostrel", "customer", "Odile Marchbanks", "once", "a"))
	wants(t, s.get("/receive"), `value="Odile Marchbanks"`)
	export := run(t, s.dir, app.Options{In: s.shop}, "export")
	if len(export) == 0 || strings.Contains(export, "Marchbanks") {
		t.Error("what is not saved is in an export")
	}
	status, page := s.post("/unsent/drop", vals("kept-form", "receive", "kept-about", "", "back", "/receive"))
	if status != http.StatusOK || strings.Contains(page, "Marchbanks") || len(drafts(t, s.dir)) > 0 {
		t.Errorf("status %d, kept in %v", status, drafts(t, s.dir))
	}
	wants(t, page, "Receive a unit", "is thrown away")

	typing(t, s, "receive", "", vals("maker", "Ostrel", "once", "a"))
	old := asOf.Add(-15 * 24 * time.Hour)
	for _, name := range drafts(t, s.dir) {
		if err := os.Chtimes(name, old, old); err != nil {
			t.Fatal(err)
		}
	}
	typing(t, s, "note", "X", vals("text", "of today", "once", "b"))
	for _, name := range drafts(t, s.dir) {
		if b, err := os.ReadFile(name); err != nil || strings.Contains(string(b), "of today") {
			if err := os.Chtimes(name, asOf, asOf); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := s.shop.Tidy(); err != nil {
		t.Fatal(err)
	}
	if left := drafts(t, s.dir); len(left) != 1 {
		t.Errorf("left are %v", left)
	}

	// A form that was emptied leaves nothing.
	typing(t, s, "note", "X", vals("text", "", "once", "b"))
	if left := drafts(t, s.dir); len(left) != 0 {
		t.Errorf("left are %v", left)
	}
}

// lines are the lines of a unit's visits.
func linesOf(t testing.TB, s *served, tag string) (lines []string) {
	t.Helper()
	u, err := s.shop.PastOf(tag)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range u.Visits {
		for _, l := range v.Lines {
			lines = append(lines, l.Line)
		}
	}
	return lines
}

func TestAFormSentTwiceSavesOnceAlsoAcrossARestart(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	form := vals("text", "dial string renewed", "once", once(t, s.get(bench+"?do=note"), "note"))
	intake := vals("maker", "Ostrel", "model", "R-950", "serial", "E17-99001", "once", once(t, s.get("/receive"), "receive"))
	for range 2 {
		if status, page := s.post(bench+"/note", form); status != http.StatusOK {
			t.Fatalf("status %d: %s", status, page)
		}
	}
	_, page := s.post("/receive", intake)
	wants(t, page, "New here")

	s = again(t, s)
	status, page := s.post(bench+"/note", form)
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, page)
	}
	wants(t, page, "saved already")
	if got := linesOf(t, s, tag); len(got) != 2 {
		t.Errorf("saved twice: %q", got)
	}
	status, page = s.post("/receive", intake)
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, page)
	}
	wants(t, page, "saved already", "E17-99001", "At the bench")
	if found, _, err := s.shop.Lookup("E17-99001", 9); err != nil || len(found) != 1 {
		t.Errorf("%d units, %v", len(found), err)
	}

	// The same form with other words is no resending: it is refused, kept, and
	// saved when it is sent once more.
	form.Set("text", "dial string and pulley renewed")
	status, page = s.post(bench+"/note", form)
	if status != http.StatusConflict {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "dial string and pulley renewed</textarea>", "saved already with other words")
	form.Set("once", once(t, page, "note"))
	if status, _ := s.post(bench+"/note", form); status != http.StatusOK || len(linesOf(t, s, tag)) != 3 {
		t.Errorf("status %d, lines %q", status, linesOf(t, s, tag))
	}
}

// again ends a server and serves its folder anew, as a program does that was
// started again.
func again(t testing.TB, s *served) *served {
	t.Helper()
	s.end()
	return serveFolder(t, s.dir)
}

func TestWhatWasWrittenMeanwhileIsSaidAndTheFormIsSaved(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	page := s.get(bench + "?do=note")
	seen := hidden(t, page, "note", "seen")
	saved, err := s.shop.Record(tag, app.Who{By: "pim"}, events.FaultFound{Text: "C1 leaky"})
	if err != nil {
		t.Fatal(err)
	}
	status, page := s.post(bench+"/note", vals("text", "first note", "seen", seen, "once", once(t, page, "note")))
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "Saved: note: first note", "While this form was open", "C1 leaky” (pim)")

	page = s.get(bench + "?do=note")
	seen = hidden(t, page, "note", "seen")
	if _, err := s.shop.Withdraw(tag, saved.Events[0].ID.String(), "", app.Who{}); err != nil {
		t.Fatal(err)
	}
	_, page = s.post(bench+"/note", vals("text", "second note", "seen", seen, "once", once(t, page, "note")))
	wants(t, page, "Saved: note: second note", "taken back: fault: “C1 leaky")

	page = s.get(bench + "?do=note")
	_, page = s.post(bench+"/note", vals("text", "third note", "seen", hidden(t, page, "note", "seen"), "once", once(t, page, "note")))
	if strings.Contains(page, "While this form was open") {
		t.Error("nothing was written meanwhile, and the page says something was")
	}
}

// hidden is a hidden value of a form.
func hidden(t testing.TB, page, form, name string) string {
	t.Helper()
	_, after, ok := strings.Cut(page, `<form id="`+form+`"`)
	_, after, in := strings.Cut(after, `name="`+name+`" value="`)
	value, _, _ := strings.Cut(after, `"`)
	if !ok || !in {
		t.Fatalf("form %s has no %s", form, name)
	}
	return value
}

func TestWhatIsWrongIsSaidBesideItsFieldAndNothingTypedIsLost(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	for _, bad := range []struct {
		do, field, why string
		form           url.Values
	}{
		{"work", "work", "is not among the", vals("work", "polishd", "text", "the cabinet")},
		{"diagnose", "mode", "is not among the", vals("finding", "kept words", "component", "switch", "mode", "flabby")},
		{"work", "minutes", "want a whole number", vals("work", "cleaned", "minutes", "ten", "text", "kept words")},
		{"estimate", "amount", "want an amount", vals("amount", "359,00", "currency", "USD", "text", "kept words")},
		{"answer", "answer", "want yes or no", vals("answer", "perhaps", "text", "kept words")},
		{"identify", "year", "want a year", vals("maker", "kept words", "year", "67")},
		{"measure", "kind", "is not in the table", vals("point", "AM", "reading", "12 mV", "kind", "loudness", "conditions", "kept words")},
		{"note", "at", "2026", vals("text", "kept words", "at", "yesterday")},
		{"work", "designator", "at most", vals("work", "cleaned", "designator", strings.Repeat("C", 300), "text", "kept words")},
	} {
		form := vals("once", once(t, s.get(bench+"?do="+bad.do), bad.do))
		for name, values := range bad.form {
			form[name] = values
		}
		status, page := s.post(bench+"/"+bad.do, form)
		if status != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", bad.do, status)
		}
		wants(t, page, "kept words"[:4])
		_, field, _ := strings.Cut(page, `id="`+bad.do+"-"+bad.field+`"`)
		field, _, _ = strings.Cut(field, `class="field`)
		if !strings.Contains(field, bad.why) || !strings.Contains(field, "aria-invalid") || !strings.Contains(field, "autofocus") {
			t.Errorf("%s: beside %s stands %.600s", bad.do, bad.field, field)
		}
		// It is kept too, for whoever comes to the form anew.
		for name, values := range bad.form {
			if page := s.get(bench + "?do=" + bad.do); !strings.Contains(page, values[0]) {
				t.Errorf("%s: %s is lost", bad.do, name)
			}
		}
		if status, _ := s.post("/unsent/drop", vals("kept-form", bad.do, "kept-about", unitID(t, s, tag))); status != http.StatusOK {
			t.Error(status)
		}
	}
	if got := linesOf(t, s, tag); len(got) != 1 {
		t.Errorf("something was saved: %q", got)
	}
}

// A disk that is really full: nothing goes, not even a draft, and the form has it
// all. With room again the same form is saved.
func TestF07_OnAFullDiskTheFormKeepsWhatWasTyped(t *testing.T) {
	disk := sharedtest.SmallDisk(t, "size=300m")
	s := foundIn(t, filepath.Join(disk, "shop"))
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	form := vals("designator", "C14", "in", "47 MMF", "once", once(t, s.get(bench+"?do=replace"), "replace"))
	fill := filepath.Join(disk, "fill")
	fillUp(t, fill)
	status, page := s.post(bench+"/replace", form)
	if status != http.StatusServiceUnavailable {
		t.Fatalf("status %d: %.2000s", status, page)
	}
	wants(t, page, "Not saved", "the disk is full", `value="C14"`, `value="47 MMF"`)
	if got := typing(t, s, "replace", unitID(t, s, tag), form); got < 500 {
		t.Errorf("a draft was kept with the disk full: status %d", got)
	}
	s.get(bench) // reading goes on
	if err := os.Remove(fill); err != nil {
		t.Fatal(err)
	}
	form.Set("once", once(t, page, "replace"))
	if status, page := s.post(bench+"/replace", form); status != http.StatusOK {
		t.Fatalf("status %d: %.2000s", status, page)
	}
	if got := linesOf(t, s, tag); len(got) != 2 {
		t.Errorf("saved are %q", got)
	}
}

// fillUp leaves no room on a disk.
func fillUp(t testing.TB, name string) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 1 << 20; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 16
		}
	}
}
