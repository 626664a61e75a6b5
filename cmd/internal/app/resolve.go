package app

import (
	"fmt"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/tag"
	"oldhand/projections"
)

// shortestTag is the fewest digits a tag has: bench, three of the number, check.
const shortestTag = 5

// mostLikely is how many units are offered for one that is not clear.
const mostLikely = 5

// Resolve finds the one unit that a person named by its tag, its serial or a
// piece of it. What could be a slip is never taken for what was meant: the
// action would go into another unit's history.
func Resolve(r projections.Reader, typed string) (*projections.History, error) {
	typed = Scanned(typed)
	for _, step := range []func(projections.Reader, string) ([]events.UnitID, error){byTag, projections.BySerial, byID} {
		ids, err := step(r, typed)
		if err != nil {
			return nil, err
		}
		switch {
		case len(ids) == 1:
			return load(r, ids[0])
		case len(ids) > 1:
			return nil, several(r, typed, ids)
		}
	}
	return byFragment(r, typed)
}

// byTag finds a unit by its tag. A number of a tag's length whose check digit
// is wrong is a slip, unless no tag is near it and it may be a serial.
func byTag(r projections.Reader, typed string) ([]events.UnitID, error) {
	digits := tag.Clean(typed)
	if len(digits) < shortestTag {
		return nil, nil
	}
	if tag.Valid(digits) {
		return tagOrSerial(r, typed, digits)
	}
	if ids, err := projections.BySerial(r, typed); err != nil || len(ids) > 0 {
		return nil, err
	}
	likely, err := nearTags(r, digits)
	if err != nil || len(likely) == 0 {
		return nil, err
	}
	pieces, err := serialPieces(r, digits)
	if err != nil {
		return nil, err
	}
	likely = append(likely, pieces...)
	return nil, &Unclear{typed, "is not a tag: its check digit is wrong", likely}
}

// tagOrSerial finds a unit by a tag that is one. Where the same digits are
// another unit's serial, a tag is said with a # before it.
func tagOrSerial(r projections.Reader, typed, digits string) ([]events.UnitID, error) {
	ids, err := projections.ByTag(r, digits)
	if err != nil || len(ids) == 0 || strings.HasPrefix(strings.TrimSpace(typed), "#") {
		return ids, err
	}
	serials, err := projections.BySerial(r, digits)
	if err != nil {
		return nil, err
	}
	for _, id := range serials {
		if !slices.Contains(ids, id) {
			return nil, several(r, typed, append(ids, serials...))
		}
	}
	return ids, nil
}

// nearTags are the tags in use that one slip of the hand could have made this.
func nearTags(r projections.Reader, digits string) ([]Likely, error) {
	var likely []Likely
	for _, near := range tag.Near(digits) {
		ids, err := projections.ByTag(r, near)
		if err != nil {
			return nil, err
		}
		for _, id := range ids {
			h, err := load(r, id)
			if err != nil {
				return nil, err
			}
			l := likelyOf(h, 1-1/float64(len(near)), "tag with one slip")
			l.Tag = near
			likely = append(likely, l)
		}
		if len(likely) >= mostLikely {
			break
		}
	}
	return likely, nil
}

// serialPieces are units whose serial has the digits in it.
func serialPieces(r projections.Reader, digits string) ([]Likely, error) {
	found, err := projections.FindPiece(r, digits, mostLikely)
	if err != nil {
		return nil, err
	}
	return likelyUnits(r, found)
}

func byID(r projections.Reader, typed string) ([]events.UnitID, error) {
	var id events.UnitID
	if len(typed) != 26 || id.UnmarshalText([]byte(typed)) != nil {
		return nil, nil
	}
	h, err := projections.Load(r, id)
	if err != nil || h == nil {
		return nil, err
	}
	return []events.UnitID{h.Root}, nil
}

// byFragment takes a piece of a serial that only one unit has, and offers what
// is near otherwise.
func byFragment(r projections.Reader, typed string) (*projections.History, error) {
	pieces, err := projections.FindPiece(r, typed, mostLikely)
	if err != nil {
		return nil, err
	}
	if len(pieces) == 1 && len(events.Key(typed)) >= 4 {
		return load(r, pieces[0].Root)
	}
	found, err := projections.Find(r, nil, typed, mostLikely)
	if err != nil {
		return nil, err
	}
	why := "is no unit's tag or serial"
	if len(pieces) > 1 {
		why, found = "is part of several serials", pieces
	}
	likely, err := likelyUnits(r, found)
	if err != nil {
		return nil, err
	}
	return nil, &Unclear{typed, why, likely}
}

func several(r projections.Reader, typed string, ids []events.UnitID) error {
	u := &Unclear{typed, fmt.Sprintf("names %d units; a tag can be said with a # before it", len(ids)), nil}
	for _, id := range ids[:min(len(ids), mostLikely)] {
		h, err := load(r, id)
		if err != nil {
			return err
		}
		u.Likely = append(u.Likely, likelyOf(h, 1, "the same"))
	}
	return u
}

func likelyUnits(r projections.Reader, found []projections.Match) ([]Likely, error) {
	var likely []Likely
	for _, m := range found {
		h, err := load(r, m.Root)
		if err != nil {
			return nil, err
		}
		likely = append(likely, likelyOf(h, m.Likeness, m.Why))
	}
	return likely, nil
}

func likelyOf(h *projections.History, likeness float64, why string) Likely {
	return Likely{h.Root.String(), firstTag(h), h.Maker, h.Model, h.Serial, likeness, why}
}

func firstTag(h *projections.History) string {
	if len(h.Tags) == 0 {
		return ""
	}
	return h.Tags[0]
}

func load(r projections.Reader, root events.UnitID) (*projections.History, error) {
	h, err := projections.Load(r, root)
	if err == nil && h == nil {
		err = fmt.Errorf("unit %s is listed and has no history; run: oldhand rebuild", root)
	}
	return h, err
}
