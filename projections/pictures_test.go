package projections_test

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"oldhand/events"
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

// A grouping that a question does not have is refused by its name; those that it
// names are all answered.
func TestEveryQuestionAnswersItsGroupingsAndRefusesOthers(t *testing.T) {
	m, groupings := newMemory(), 0
	for _, q := range projections.Questions {
		for _, by := range q.By {
			groupings++
			if _, err := projections.Ask(m, q, projections.Asked{AsOf: afterAll, By: by}); err != nil {
				t.Errorf("%s by %s: %v", q.Name, by, err)
			}
		}
		_, err := projections.Ask(m, q, projections.Asked{AsOf: afterAll, By: "colour"})
		if none := new(projections.NoGrouping); len(q.By) > 0 && !errors.As(err, &none) {
			t.Errorf("%s by colour: %v", q.Name, err)
		}
	}
	if groupings < 10 {
		t.Errorf("only %d groupings were tried", groupings)
	}
}

// With more groups than can be drawn the picture shows the largest, and says how
// many it leaves out.
func TestManyGroupsAreDrawnAsFarAsTheyCanBeTold(t *testing.T) {
	s := newStory(t)
	for model := range 50 {
		for unit := range 8 {
			name := fmt.Sprintf("%d-%d", model, unit)
			s.tell(1, name, name, "", 10*unit, events.Received{Maker: "Ostrel", Model: fmt.Sprintf("R-%d", 100+model)})
			s.tell(1, name+"f", name, name, 10*unit, events.FaultFound{Component: "lamp", Mode: "burned-out"})
			s.tell(1, name+"s", name, name, 10*unit+1+unit+model/10, events.Shipped{Outcome: "repaired"})
		}
	}
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		t.Fatal(err)
	}
	stay := asked(t, m, "turnaround", projections.Asked{AsOf: afterAll, By: "model"})
	if p := stay.Picture; p == nil || len(p.Bars) != 36 || !strings.Contains(p.Desc, "Not drawn: 14 ") {
		t.Fatalf("the picture is %+v", p)
	}
	rows := map[string]projections.TurnaroundRow{}
	for _, r := range stay.Rows {
		rows[r.(projections.TurnaroundRow).Group] = r.(projections.TurnaroundRow)
	}
	for _, bar := range stay.Picture.Bars {
		if row := rows[bar.Name]; row.Median == nil || bar.Value != *row.Median || bar.Lo != *row.MedianLow || bar.Hi != *row.MedianHigh {
			t.Errorf("the bar of %q is %v, the row says %+v", bar.Name, bar, row)
		}
	}
	faults := asked(t, m, "failures", projections.Asked{AsOf: afterAll, By: "model"})
	if p := faults.Picture; p == nil || len(p.Heat.Columns) != 36 || !strings.Contains(p.Desc, "36 groups with the most units, of 50") {
		t.Errorf("the picture is %+v", p)
	}
}
