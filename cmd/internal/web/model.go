package web

import (
	"fmt"
	"net/url"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/projections"
)

// modelView is what is known of one model.
type modelView struct {
	Name     string
	Words    []string
	Faults   *projections.Picture
	Rows     []answerTable
	Stay     *projections.Picture
	StayRows []answerTable
	Notes    []string
	Units    []unitLine
	Named    int
	All      string // where all of them are, if not here
}

// mostUnits is how many of a model's units are listed.
const mostUnits = 50

func model(q *request) error {
	maker, name := q.r.PathValue("maker"), q.r.PathValue("model")
	here := modelPage(maker, name)
	return q.live("model", nameOf(maker, name), here, func() (any, error) {
		m, err := q.shop.OfModel(maker, name, mostUnits)
		if err != nil {
			return nil, err
		}
		return modelViewOf(m)
	})
}

func modelViewOf(m app.ModelPast) (v modelView, err error) {
	v = modelView{Name: nameOf(m.Maker, m.Model), Words: rarityWords(m), Named: m.Named, Faults: m.FaultsPicture()}
	of := tableOf{by: "model", asked: url.Values{"by": {"model"}, "maker": {m.Maker}, "model": {m.Model}}}
	faults := &projections.Result{Question: "failures"}
	for _, row := range m.Faults {
		faults.Rows = append(faults.Rows, row)
	}
	if v.Rows, err = tablesFor(faults, of); err != nil {
		return v, err
	}
	for i := range v.Rows {
		v.Rows[i] = v.Rows[i].without("model")
	}
	if m.Stay != nil {
		v.Stay, v.Notes = m.Stay.Picture, m.Stay.Notes
		if v.StayRows, err = tablesFor(m.Stay, of); err != nil {
			return v, err
		}
		for i := range v.StayRows {
			v.StayRows[i] = v.StayRows[i].without("model")
			v.StayRows[i].Name = "stay" + v.StayRows[i].Name
		}
	}
	for _, u := range m.Units {
		line := lineOfMatch(u)
		line.Name = "" // the page has it
		v.Units = append(v.Units, line)
	}
	if len(v.Units) < v.Named {
		v.All = "/fleet/rarity/units?" + url.Values{"maker": {m.Maker}, "model": {m.Model}}.Encode()
	}
	return v, nil
}

// rarityWords say how often the model comes.
func rarityWords(m app.ModelPast) []string {
	r := m.Rarity
	words := []string{fmt.Sprintf("%s here in %s, %s of all whose model is known; number %d of %s by that.",
		events.Count(r.Units, "unit"), events.Count(r.Visits, "visit"), percent(r.Share), m.Rank, events.Count(m.Models, "model"))}
	if r.RatePerYear != nil && r.RateLow != nil && r.RateHigh != nil {
		words = append(words, fmt.Sprintf("%s a year are seen for the first time (%s to %s).", plain(*r.RatePerYear), plain(*r.RateLow), plain(*r.RateHigh)))
	}
	return append(words, fmt.Sprintf("First received on %s, last on %s.", r.FirstSeen, r.LastSeen))
}
