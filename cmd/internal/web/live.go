package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
)

const (
	settle    = 80 * time.Millisecond // for what comes together, such as a bench's events
	heartbeat = 25 * time.Second      // so that a line that broke is noticed
)

// live tells a page, in server-sent events (HTML Living Standard, 9.2), that
// what it shows has changed. What that is, the page says in the address: unit=TAG
// for one unit, nothing for anything at all. The page then fetches its parts
// anew. An event's id stands for what was shown; a page that comes with another
// one than there is, in the address at first and by the event's id when it comes
// back, is told at once.
func live(q *request) error {
	out := http.NewResponseController(q.w)
	if err := out.SetWriteDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	q.w.Header().Set("Content-Type", "text/event-stream")
	shown := q.r.Header.Get("Last-Event-ID")
	if shown == "" {
		shown = q.asked("shown")
	}
	for {
		changed := q.shop.Log.Changed() // asked for before looking: none is missed
		print, err := q.fingerprint(q.asked("unit"))
		if err != nil {
			return nil // the folder is being closed; the page asks again
		}
		event := ": here\n\n"
		switch {
		case shown == "":
			event = "id: " + print + "\nevent: here\ndata: \n\n"
		case print != shown:
			event = "id: " + print + "\nevent: changed\ndata: \n\n"
		}
		shown = print
		if _, err := fmt.Fprint(q.w, event); err != nil || out.Flush() != nil {
			return nil // the page was closed
		}
		select {
		case <-changed:
			time.Sleep(settle)
		case <-time.After(heartbeat):
		case <-q.r.Context().Done():
			return nil
		}
	}
}

// alive is what a page puts into data-live, to be told when it shows something
// old: it is asked for before what the page shows is read. A unit names what is
// shown, nothing says that it is anything at all.
func (q *request) alive(unit string) (string, error) {
	print, err := q.fingerprint(unit)
	return url.Values{"unit": {unit}, "shown": {print}}.Encode(), err
}

// fingerprint stands for what a page shows.
func (q *request) fingerprint(unit string) (string, error) {
	if strings.TrimSpace(unit) != "" {
		print, err := q.shop.Print(unit)
		if errors.As(err, new(*app.Unclear)) {
			return "none", nil // it may come
		}
		return print, err
	}
	v, err := q.shop.Log.View()
	if err != nil {
		return "", err
	}
	defer v.Close()
	return fmt.Sprintf("%s-%d", q.s.run, v.Commit()), nil
}
