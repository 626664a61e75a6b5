package projections_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/projections"
	"oldhand/projections/stats"
)

// seenSet is a set that came in, with the faults it had.
type seenSet struct {
	maker, model string
	year         int
	faults       [][2]string
}

// group is the name of those that a set is counted with.
func (s seenSet) group(by string) string {
	switch {
	case by == "model" && s.model == "", by == "year" && s.year == 0:
		return ""
	case by == "model":
		return strings.TrimSpace(s.maker + " " + s.model)
	case by == "maker":
		return s.maker
	}
	return fmt.Sprint(s.year)
}

// setsWithFaults is a shop of three makers, of whom one has too few models for priors of
// their own, with some sets of which little is known.
func setsWithFaults(t *testing.T) (sets []seenSet, m *memory) {
	rng := rand.New(rand.NewPCG(7, 1))
	told := newStory(t)
	for i := range 700 {
		s := seenSet{maker: []string{"Ostrel", "Pellowick", "Vanten", ""}[rng.IntN(4)], year: 1960 + rng.IntN(9)}
		models := map[string]int{"Ostrel": 7, "Pellowick": 6, "Vanten": 3, "": 1}[s.maker]
		n := rng.IntN(models) * rng.IntN(models) / models
		s.model = fmt.Sprintf("%sX-%d", s.maker[:min(1, len(s.maker))], n)
		if i%50 == 0 {
			s.maker, s.model, s.year = "Vanten", "", 0
		}
		name := fmt.Sprint("set", i)
		told.tell(1, name, name, "", i%80, events.Received{Maker: s.maker, Model: s.model, YearFrom: s.year, YearTo: s.year})
		for j, f := range [][2]string{{"filter-capacitor", "leaky"}, {"lamp", "burned-out"}, {"switch", "dirty"}} {
			if rng.Float64() < 0.1+0.12*float64((n+j)%4)+0.05*float64(s.year%7) {
				s.faults = append(s.faults, f)
				told.tell(1, fmt.Sprint(name, "-", j), name, name, i%80, events.FaultFound{Component: f[0], Mode: f[1]})
			}
		}
		sets = append(sets, s)
	}
	m = newMemory()
	if err := m.add(told.all...); err != nil {
		t.Fatal(err)
	}
	return sets, m
}

// plainFaults counts sets by group and fault.
type plainFaults struct {
	by             string
	groups         []string // in order, the unknown last
	faults         [][2]string
	of             map[string]int
	with           map[string]map[[2]string]int
	maker          map[string]string
	total          int
	totalWithFault map[[2]string]int
}

func countFaults(sets []seenSet, by string) plainFaults {
	p := plainFaults{by: by, of: map[string]int{}, with: map[string]map[[2]string]int{}, maker: map[string]string{}, totalWithFault: map[[2]string]int{}}
	for _, s := range sets {
		g := s.group(by)
		if p.with[g] == nil {
			p.with[g], p.groups = map[[2]string]int{}, append(p.groups, g)
		}
		p.maker[g] = s.maker
		p.of[g]++
		for _, f := range s.faults {
			if p.with[g][f]++; !slices.Contains(p.faults, f) {
				p.faults = append(p.faults, f)
			}
			if g != "" {
				p.totalWithFault[f]++
			}
		}
		if g != "" {
			p.total++
		}
	}
	slices.SortFunc(p.groups, func(a, b string) int {
		if a == "" || b == "" {
			return len(b) - len(a)
		}
		return strings.Compare(a, b)
	})
	slices.SortFunc(p.faults, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
	return p
}

// prior is that of a fault from the groups of a maker, or from all; nil if they give none.
func (p plainFaults) prior(f [2]string, maker string) *stats.Prior {
	var shares []stats.Share
	for _, g := range p.groups {
		if g != "" && (maker == "" || p.maker[g] == maker) {
			shares = append(shares, stats.Share{X: p.with[g][f], N: p.of[g]})
		}
	}
	prior, err := stats.LikelihoodFit(shares)
	if err != nil {
		return nil
	}
	return &prior
}

// row is that of one group and fault, but for what hangs on how many there are.
func (p plainFaults) row(t *testing.T, g string, f [2]string) projections.FailureRow {
	s := stats.Share{X: p.with[g][f], N: p.of[g]}
	limits := sure(stats.Wilson(s, stats.Level{}))(t)
	row := projections.FailureRow{Group: g, Component: f[0], Mode: f[1], Units: s.X, Of: s.N, Share: s.Rate(), Low: limits.Lo, High: limits.Hi, P: 1, Adjusted: 1}
	prior := p.prior(f, "")
	if own := p.prior(f, p.maker[g]); p.by == "model" && own != nil {
		prior = own
	}
	if prior != nil {
		mean := sure(prior.Of(s))(t).Mean()
		row.Shrunk = &mean
	}
	if g == "" {
		return row
	}
	others := stats.Share{X: p.totalWithFault[f] - s.X, N: p.total - s.N}
	lift := s.Rate() / others.Rate()
	row.Lift = &lift
	row.P = sure(stats.FisherExact(stats.Table{{s.X, s.N - s.X}, {others.X, others.N - others.X}}))(t).TwoSided
	if p.by == "year" {
		year := sure(strconv.Atoi(g))(t)
		row.Year = &year
	}
	return row
}

func (p plainFaults) rows(t *testing.T) (rows []projections.FailureRow) {
	var ps []float64
	for _, g := range p.groups {
		for _, f := range p.faults {
			if p.with[g][f] == 0 {
				continue
			}
			row := p.row(t, g, f)
			if rows = append(rows, row); g != "" {
				ps = append(ps, row.P)
			}
		}
	}
	adjusted := sure(stats.BenjaminiHochberg(ps))(t)
	for i := range rows {
		if rows[i].Group != "" {
			rows[i].Adjusted, adjusted = adjusted[0], adjusted[1:]
			rows[i].Flagged = rows[i].Adjusted <= 0.05
		}
	}
	return rows
}

func sure[T any](v T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Every row is made by itself here, from all sets. What stands out in the picture are
// the rows that do.
func TestFailuresAreWhatEachRowIsByItself(t *testing.T) {
	sets, m := setsWithFaults(t)
	for _, by := range []string{"year", "maker", "model"} {
		want := countFaults(sets, by).rows(t)
		res := asked(t, m, "failures", projections.Asked{AsOf: afterAll, By: by})
		if len(res.Rows) != len(want) {
			t.Fatalf("by %s there are %d rows, want %d", by, len(res.Rows), len(want))
		}
		flags, unflagged := 0, 0
		for i, row := range res.Rows {
			r := row.(projections.FailureRow)
			got, wanted := sure(json.Marshal(r))(t), sure(json.Marshal(want[i]))(t)
			if string(got) != string(wanted) {
				t.Errorf("by %s, row %d:\n%s, want\n%s", by, i, got, wanted)
			}
			if r.Flagged {
				flags++
			} else {
				unflagged++
			}
			if cell := cellOf(t, res.Picture.Heat, r); cell.Flagged != r.Flagged || cell.Share != r.Share {
				t.Errorf("by %s, row %s is drawn as %+v", by, got, cell)
			}
		}
		if flags == 0 || unflagged == 0 {
			t.Errorf("by %s %d rows stand out and %d do not", by, flags, unflagged)
		}
	}
}

// cellOf is where a picture has a row.
func cellOf(t *testing.T, heat *projections.PictureHeat, r projections.FailureRow) projections.PictureCell {
	spoken := strings.ReplaceAll(r.Component+" "+r.Mode, "-", " ")
	line := slices.Index(heat.Rows, spoken)
	column := slices.Index(heat.Columns, cmp.Or(r.Group, "not known"))
	if line < 0 || column < 0 {
		t.Fatalf("%q of %q is not in the picture: %q, %q", spoken, r.Group, heat.Rows, heat.Columns)
	}
	return heat.Cells[line][column]
}
