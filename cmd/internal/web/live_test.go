package web_test

import (
	"bufio"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// news reads server-sent events, the names and ids of them.
func (s *served) news(query, lastID string) (events <-chan [2]string) {
	s.t.Helper()
	r := s.request(http.MethodGet, "/live?"+query, nil)
	if lastID != "" {
		r.Header.Set("Last-Event-ID", lastID)
	}
	client := &http.Client{Jar: s.http.Jar} // without a limit of time
	res, err := client.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { res.Body.Close() })
	if kind := res.Header.Get("Content-Type"); kind != "text/event-stream" {
		s.t.Fatalf("news are %q", kind)
	}
	list := make(chan [2]string, 100)
	go func() {
		defer close(list)
		id := ""
		in := bufio.NewScanner(io.Reader(res.Body))
		for in.Scan() {
			name, value, _ := strings.Cut(in.Text(), ": ")
			switch name {
			case "id":
				id = value
			case "event":
				list <- [2]string{value, id}
			}
		}
	}()
	return list
}

// patience is how long a test waits for news that must come.
const patience = time.Minute

func (s *served) next(list <-chan [2]string) [2]string {
	s.t.Helper()
	select {
	case e, ok := <-list:
		if !ok {
			s.t.Fatal("the news ended")
		}
		return e
	case <-time.After(patience):
		s.t.Fatal("no news came")
	}
	return [2]string{}
}

func receive(t testing.TB, s *served, serial string) string {
	t.Helper()
	res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: serial, Complaint: "hums"}})
	if err != nil {
		t.Fatal(err)
	}
	return res.Tag
}

func TestAPageHearsOfWhatItShowsAndOfNothingElse(t *testing.T) {
	s := newShop(t)
	one, other := receive(t, s, "E17-17750"), receive(t, s, "B90-55354")
	all, unit := s.news("", ""), s.news("unit="+one, "")
	if s.next(all)[0] != "here" || s.next(unit)[0] != "here" {
		t.Fatal("a page that just came is told of a change")
	}
	note := func(tag string) {
		if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "looked at"}); err != nil {
			t.Fatal(err)
		}
	}
	note(other)
	if s.next(all)[0] != "changed" {
		t.Error("a change of anything is not told")
	}
	note(one)
	changed := s.next(unit)
	if changed[0] != "changed" {
		t.Error("a change of the unit is not told")
	}
	// What came to the unit's page first is its own change: the other's was not told.
	if again := s.news("unit="+one, changed[1]); true {
		note(one)
		if e := s.next(again); e[0] != "changed" || e[1] == changed[1] {
			t.Errorf("after coming back: %v", e)
		}
	}
}

func TestAPageThatComesBackIsToldWhatItMissed(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	was := s.next(s.news("unit="+tag, ""))
	if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "while the page was away"}); err != nil {
		t.Fatal(err)
	}
	if e := s.next(s.news("unit="+tag, was[1])); e[0] != "changed" {
		t.Errorf("told %v", e)
	}
}
