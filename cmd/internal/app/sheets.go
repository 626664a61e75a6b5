package app

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/sheets"
	"oldhand/projections"
)

// The shop's test sheets. A sheet that is defined again under its name, for the
// same kind of set or model, stands in the place of the one before. Which is the
// later one is decided by the ids of the events: what is said of the shop as a
// whole (words, days, sheets) is said anew and not corrected, so that there is no
// version that somebody named as replaced. A final test names the very definition
// that it followed, and goes on saying what was checked then.

// Sheet is a test sheet: the shop's, or one that comes with the program.
type Sheet struct {
	ID     events.EventID          `json:"id,omitzero"` // zero for one of the program's
	For    string                  `json:"for"`         // the kind of set or the model, in words
	Own    bool                    `json:"own"`         // the shop's
	Day    string                  `json:"day,omitempty"`
	By     string                  `json:"by,omitempty"`
	Before int                     `json:"before,omitempty"` // definitions that it stands in the place of
	Sheet  events.TestSheetDefined `json:"sheet"`
}

func sheetFor(b events.TestSheetDefined) string {
	if b.Model != "" {
		return nameOf(b.Maker, b.Model)
	}
	return strings.ReplaceAll(b.KindOfSet, "-", " ")
}

// key is what a later sheet has in common with the one that it replaces.
func sheetKey(b events.TestSheetDefined) string {
	return strings.ToLower(strings.TrimSpace(b.Name)) + "\x00" + b.KindOfSet + "\x00" + events.Key(b.Maker) + "\x00" + events.Key(b.Model)
}

// keptSheets are all sheets ever defined, by their ids' order. They are looked at
// for every final test that is shown, and read afresh where one is named that is
// not among those that are kept.
type keptSheets struct{ offered[Sheet] }

// byID is a sheet by the event that defined it.
func (k *keptSheets) byID(r projections.Reader, now time.Time, id events.EventID) (Sheet, bool, error) {
	for range 2 {
		list, err := k.of(r, now)
		if err != nil {
			return Sheet{}, false, err
		}
		if i := slices.IndexFunc(list, func(s Sheet) bool { return s.ID == id }); i >= 0 {
			return list[i], true, nil
		}
		k.forget() // it may have come from another bench just now
	}
	return Sheet{}, false, nil
}

func definedSheets(r projections.Reader) ([]Sheet, error) {
	evs, err := r.Events([16]byte{})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(evs, func(a, b events.Event) int { return a.ID.Compare(b.ID) })
	var list []Sheet
	for _, e := range evs {
		if e.Kind != events.KindTestSheetDefined {
			continue
		}
		if body, err := e.Body(); err == nil {
			b := body.(events.TestSheetDefined) // which is what its kind decodes to
			list = append(list, Sheet{ID: e.ID, For: sheetFor(b), Own: true, Day: dayOf(e.At, e.ID).String(), By: e.By, Sheet: b})
		}
	}
	return list, nil
}

// standing are the sheets that stand, the last defined first.
func standing(all []Sheet) (list []Sheet) {
	before := map[string]int{}
	for i := len(all) - 1; i >= 0; i-- {
		key := sheetKey(all[i].Sheet)
		if n := before[key]; n > 0 {
			list[n-1].Before++
			continue
		}
		list = append(list, all[i])
		before[key] = len(list)
	}
	return list
}

// Sheets are the sheets that stand, by name, and behind them those of the program
// that the shop has none like.
func (s *Shop) Sheets() (list []Sheet, err error) {
	err = s.view(func(v *eventlog.View) error {
		list, err = s.sheetsIn(v)
		return err
	})
	slices.SortFunc(list, func(a, b Sheet) int {
		return cmp.Or(-cmp.Compare(fmt.Sprint(a.Own), fmt.Sprint(b.Own)), cmp.Compare(a.Sheet.Name, b.Sheet.Name), cmp.Compare(a.For, b.For))
	})
	return list, err
}

func (s *Shop) sheetsIn(r projections.Reader) ([]Sheet, error) {
	all, err := s.sheets.of(r, s.now())
	if err != nil {
		return nil, err
	}
	list := standing(all)
	for _, g := range sheets.Good {
		if !slices.ContainsFunc(list, func(o Sheet) bool { return sheetKey(o.Sheet) == sheetKey(g) }) {
			list = append(list, Sheet{For: sheetFor(g), Sheet: g})
		}
	}
	return list, nil
}

// SheetNamed is the sheet with a name, or with an id: the shop's before the program's.
func (s *Shop) SheetNamed(name string) (found Sheet, err error) {
	err = s.view(func(v *eventlog.View) error {
		found, err = s.sheetNamed(v, name)
		return err
	})
	return found, err
}

func (s *Shop) sheetNamed(r projections.Reader, name string) (Sheet, error) {
	var id events.EventID
	if len(name) == 26 && id.UnmarshalText([]byte(name)) == nil {
		if sheet, ok, err := s.sheets.byID(r, s.now(), id); ok || err != nil {
			return sheet, err
		}
	}
	list, err := s.sheetsIn(r)
	if err != nil {
		return Sheet{}, err
	}
	var named []Sheet
	for _, o := range list {
		if strings.EqualFold(strings.TrimSpace(o.Sheet.Name), strings.TrimSpace(name)) && (o.Own || len(named) == 0) {
			named = append(named, o)
		}
	}
	switch len(named) {
	case 1:
		return named[0], nil
	case 0:
		return Sheet{}, &Wrong{"sheet " + name, "there is none of this name; see: oldhand sheet list"}
	}
	ids := ""
	for _, o := range named {
		ids += fmt.Sprintf("\n  %s  for %s", o.ID, o.For)
	}
	return Sheet{}, &Wrong{"sheet " + name, "several have this name; name one by its id:" + ids}
}

// SheetFor is the sheet that a unit gets: of its model, else of its kind of set,
// the one defined last where there are several. Own is false on one of the
// program's, which the shop has to take before a test follows it, and there is
// none for a unit of which neither is known.
func (s *Shop) SheetFor(typed string) (found *Sheet, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err == nil {
			found, err = s.sheetForUnit(v, h)
		}
		return err
	})
	return found, err
}

func (s *Shop) sheetForUnit(r projections.Reader, h *projections.History) (*Sheet, error) {
	list, err := s.sheetsIn(r)
	if err != nil {
		return nil, err
	}
	ofModel := func(o Sheet) bool {
		return o.Sheet.Model != "" && events.Key(o.Sheet.Model) == events.Key(h.Model) && events.Key(o.Sheet.Maker) == events.Key(h.Maker)
	}
	ofKind := func(o Sheet) bool {
		return o.Sheet.Model == "" && o.Sheet.KindOfSet != "" && o.Sheet.KindOfSet == h.KindOfSet
	}
	for _, is := range []func(Sheet) bool{ofModel, ofKind} {
		if i := slices.IndexFunc(list, is); i >= 0 { // the shop's stand before the program's
			return &list[i], nil
		}
	}
	return nil, nil
}

// DefineSheet writes a sheet down. One that says what stands already is refused.
func (s *Shop) DefineSheet(b events.TestSheetDefined, w Who) (saved Saved, err error) {
	if err := sheets.Sound(b); err != nil {
		return saved, &Wrong{"sheet " + b.Name, err.Error()}
	}
	err = s.act(func(tx *eventlog.Tx) error {
		if b.KindOfSet != "" {
			if b.KindOfSet, err = knownWord(tx, "kind of set", b.KindOfSet); err != nil {
				return err
			}
		}
		all, err := definedSheets(tx)
		if err != nil {
			return err
		}
		for _, o := range standing(all) {
			if sheetKey(o.Sheet) == sheetKey(b) && sameSheet(o.Sheet, b) {
				return &NotHere{"the sheet " + b.Name, "says that already"}
			}
		}
		saved = Saved{}
		return saved.add(tx, events.Draft{At: s.when(w), By: w.By, Body: b})
	})
	s.sheets.forget()
	return saved, err
}

func sameSheet(a, b events.TestSheetDefined) bool {
	return a.Name == b.Name && a.KindOfSet == b.KindOfSet && a.Maker == b.Maker && a.Model == b.Model && slices.Equal(a.Checks, b.Checks)
}

// TakeSheet makes a sheet that comes with the program one of the shop's.
func (s *Shop) TakeSheet(name string, w Who) (Saved, error) {
	b, ok := sheets.GoodNamed(name)
	if !ok {
		return Saved{}, &Wrong{"sheet " + name, "none of this name comes with the program; see: oldhand sheet list"}
	}
	return s.DefineSheet(b, w)
}
