package web

import (
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// The view types of template parts: what a part draws, finished, with nothing
// left to fetch.

// unitLine is a unit in a list: what it is, and whatever the list is about.
type unitLine struct {
	Ref    string // its tag, or its id where it has none: what its page is found by
	Tag    string
	Name   string // maker and model
	Serial string
	Year   string
	Owner  string // where the list is about customers
	Why    string // it is in the list
	State  string // where it is
	Here   bool   // it stands on a bench
}

// interval is a number with its limits.
type interval struct {
	Value, Low, High string
	Of               string // the count behind it
}

// entry is one line of a timeline.
type entry struct {
	ID        string // of its event, to correct or withdraw it by
	At, By    string
	Kind      string
	Line      string
	Corrected bool
	Caution   string
}

// table is rows under headings.
type table struct {
	Caption string
	Head    []string
	Rows    [][]cell
	Numbers map[int]bool // columns that are set to the right
}

type cell struct {
	Text string
	Link string
	Soft bool
}

func refOf(tag, unit string) string {
	if tag != "" {
		return tag
	}
	return unit
}

// nameOf is what a unit is called where its maker and model may not be known.
func nameOf(maker, model string) string {
	if name := strings.TrimSpace(maker + " " + model); name != "" {
		return name
	}
	return "maker and model not known"
}

func lineOfLikely(l app.Likely) unitLine {
	return unitLine{Ref: refOf(l.Tag, l.Unit), Tag: l.Tag, Name: nameOf(l.Maker, l.Model), Serial: l.Serial, Why: l.Why}
}

func lineOfMatch(m app.Match) unitLine {
	u := lineOfLikely(m.Likely)
	u.Year, u.Here = m.Year, m.Here
	u.Owner = m.Customer
	if m.Likeness == 1 || m.Customer != "" {
		u.Why = "" // it is what was asked for, or says so itself
	}
	switch {
	case m.Here:
		u.State = "on a bench since " + dayOf(m.Since)
	case m.Left != "":
		u.State = fmt.Sprintf("%s, left %s", events.Count(m.Visits, "visit"), dayOf(m.Left))
	case m.Visits > 0:
		u.State = events.Count(m.Visits, "visit")
	}
	return u
}
