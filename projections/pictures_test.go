package projections_test

import (
	"slices"
	"strconv"
	"testing"

	"oldhand/projections"

	"pgregory.net/rapid"
)

func asked(t fataler, r projections.Reader, name string, a projections.Asked) *projections.Result {
	i := slices.IndexFunc(projections.Questions, func(q projections.Question) bool { return q.Name == name })
	res, err := projections.Ask(r, projections.Questions[i], a)
	if err != nil {
		t.Fatal(name, err)
	}
	return res
}

func TestPicturesSayWhatTheRowsSay(t *testing.T) {
	drawn := 0
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		for range rapid.IntRange(1, 40).Draw(t, "events") {
			w.step()
		}
		m := newMemory()
		if err := m.add(w.all...); err != nil {
			t.Fatal(err)
		}
		year := asked(t, m, "year", projections.Asked{AsOf: afterAll})
		if p := year.Picture; p != nil {
			drawn++
			columns := p.Trends.Columns
			for i := range columns {
				row := year.Rows[len(columns)-1-i].(projections.YearRow)
				got := []float64{p.Trends.Rows[0].Values[i], p.Trends.Rows[2].Values[i], p.Trends.Rows[7].Values[i]}
				want := []float64{float64(row.Received), float64(row.Shipped), float64(row.Parts)}
				if columns[i] != strconv.Itoa(row.Year) || !slices.Equal(got, want) {
					t.Fatalf("column %d is %s %v, the row is %d %v", i, columns[i], got, row.Year, want)
				}
			}
		}
		out := asked(t, m, "outcomes", projections.Asked{AsOf: afterAll, By: "model"})
		repaired, of := map[string]float64{}, map[string]int{}
		for _, r := range out.Rows {
			row := r.(projections.OutcomeRow)
			of[row.Group] = row.Of
			if row.Outcome == "repaired" {
				repaired[row.Group] = 100 * row.Share
			}
		}
		if out.Picture == nil {
			if len(of) > 0 {
				t.Fatal("rows without a picture")
			}
			return
		}
		drawn++
		if len(out.Picture.Bars) != min(len(of), 20) {
			t.Fatalf("%d bars for %d groups", len(out.Picture.Bars), len(of))
		}
		for _, bar := range out.Picture.Bars {
			name := bar.Name
			if _, ok := of[name]; !ok && name == "not known" {
				name = ""
			}
			if bar.Value != repaired[name] || bar.Hi <= bar.Lo {
				t.Fatalf("the bar of %q is %v, the row says %v", bar.Name, bar, repaired[name])
			}
		}
	})
	if drawn == 0 {
		t.Error("no world had a picture")
	}
}
