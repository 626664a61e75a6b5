package app

import (
	"net/url"
	"strings"

	"oldhand/cmd/internal/tags"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// TagsOf are the tags of units that were named, to be printed. Base is where a
// phone finds the page, as Lan.Base gives it; empty where phones are not let in.
func (s *Shop) TagsOf(typed []string, base string) (list []tags.Label, err error) {
	err = s.view(func(v *eventlog.View) error {
		for _, t := range typed {
			h, err := Resolve(v, t)
			if err != nil {
				return err
			}
			if firstTag(h) == "" {
				return &NotHere{t, "has no tag; it gets one when it is received again"}
			}
			list = append(list, labelOf(h, base))
		}
		return nil
	})
	return list, err
}

// TagsOnBenches are the tags of all that stand on the benches, those first that
// stand longest. Untagged is how many have none.
func (s *Shop) TagsOnBenches(base string) (list []tags.Label, untagged int, err error) {
	t, err := s.Today()
	if err != nil {
		return nil, 0, err
	}
	var units []string
	for _, u := range t.Units {
		if u.Tag == "" {
			untagged++
			continue
		}
		units = append(units, u.Unit) // two units can have one tag
	}
	list, err = s.TagsOf(units, base)
	return list, untagged, err
}

func labelOf(h *projections.History, base string) tags.Label {
	l := tags.Label{Tag: firstTag(h), Maker: h.Maker, Model: h.Model, Serial: h.Serial, Code: firstTag(h), Since: events.EventID(h.Root).Stamp().Time().UTC()}
	if base != "" {
		l.Code = strings.TrimSuffix(base, "/") + unitPath + l.Tag
	}
	return l
}

// unitPath is where a unit's page is.
const unitPath = "/unit/"

// Base is where phones that are let in find the page; empty while none is.
func (l *Lan) Base() string {
	st := l.State()
	if !st.On || st.Address == "" || strings.HasSuffix(st.Address, ":0") {
		return ""
	}
	return "https://" + st.Address
}

// Scanned is what a unit is looked up by when a tag's code was read: of the address
// of its page the tag, and anything else as it is. Whose page it is does not matter;
// the shop's address may have changed since the tag was printed.
func Scanned(text string) string {
	u, err := url.Parse(strings.TrimSpace(text))
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" {
		return text
	}
	if named, found := strings.CutPrefix(u.Path, unitPath); found {
		named, _, _ = strings.Cut(named, "/")
		if named != "" {
			return named
		}
	}
	return text
}
