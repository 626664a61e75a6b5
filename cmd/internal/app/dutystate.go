package app

import (
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"oldhand/sync/exchange"
)

// DutyState is how a bench stands with the place where the benches meet.
type DutyState struct {
	Host    bool   `json:"host"`    // it is told to host here
	Hosts   bool   `json:"hosts"`   // and does
	Command bool   `json:"command"` // a command of its own hosts here
	Listen  string `json:"listen,omitempty"`
	Hosted  Hosted `json:"hosted"`          // where the others find it, while it does
	Shown   string `json:"shown,omitempty"` // whether the local network is shown that

	Watch    bool   `json:"watch"` // it is told to stay with the others
	With     string `json:"with"`  // where they meet, while it is there
	Known    string `json:"known"` // where they met last; empty where no place is known
	HostSays string `json:"host_says,omitempty"`
	WatchSay string `json:"watch_says,omitempty"`

	Place *PlaceState `json:"place,omitempty"` // nil where nobody looks after it
	Notes []Heard     `json:"notes"`           // the last first
}

// PlaceState is how the exchange is.
type PlaceState struct {
	Answers  bool     `json:"answers"`
	Messages uint64   `json:"messages"`
	Bytes    uint64   `json:"bytes"`
	Holes    uint64   `json:"holes"` // messages lost to damage; the benches give them again
	Warnings []string `json:"warnings"`
	Problem  string   `json:"problem,omitempty"`
}

// State says how it stands.
func (d *Duties) State() (st DutyState, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	st = DutyState{Listen: UsualListen, Watch: d.kept.Watch, HostSays: d.wrong[dutyHost], WatchSay: d.wrong[dutyWatch], Shown: d.shown, Notes: slices.Clone(d.notes)}
	if d.kept.Host != nil {
		st.Host, st.Listen = true, d.kept.Host.Listen
	}
	if known, err := exchanges(d.shop.Dir); err == nil && len(known) > 0 {
		st.Known = strings.Join(known[0].Addresses, " or ")
	}
	if d.host != nil && !d.host.ill.Load() || !st.Host {
		st.HostSays = ""
	}
	if d.watch != nil && !d.watch.ill.Load() || !st.Watch {
		st.WatchSay = ""
	}
	switch {
	case d.host != nil:
		st.Hosts, st.Hosted = true, d.host.Hosted
		st.Place = placeOf(d.host.heard.Load())
	case !st.Host && hostsNow(d.shop.Dir):
		st.Command = true
		if err := readJSON(filepath.Join(d.shop.Dir, exchangeDir, hostFile), &st.Hosted); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return st, err
		}
	}
	if d.watch == nil {
		return st, nil
	}
	if h := d.watch.heard.Load(); h != nil && h.state.Answers {
		st.With = h.with
		if st.Place == nil {
			st.Place = placeOf(h)
		}
	}
	return st, nil
}

func placeOf(h *heard) *PlaceState {
	if h == nil {
		return nil
	}
	p := &PlaceState{Answers: h.state.Answers, Messages: h.state.Messages, Bytes: h.state.Bytes, Holes: h.state.Holes, Warnings: h.state.Warnings}
	if h.state.Problem != nil && !h.state.Answers {
		p.Problem = notMet(h.with, errors.Join(exchange.ErrOffline, h.state.Problem))
	}
	return p
}
