package picture

import (
	"fmt"
	"math"

	"oldhand/projections"
	"oldhand/projections/stats"
)

// maintained are the weeks in remission of the "maintained" arm of a trial on
// leukaemia, much used as a worked example of survival curves (published by
// Embury and others in 1977; from memory): 9 13 13+ 18 23 28+ 31 34 45+ 48 161+
// with a plus where nobody saw the end. Worked by hand the curve goes 0.9091
// 0.8182 0.7159 0.6136 0.4909 0.3682 0.1841, and its median is 31.
var maintained = []stats.DayCount{
	{Day: 9, Events: 1}, {Day: 13, Events: 1, Censored: 1}, {Day: 18, Events: 1}, {Day: 23, Events: 1}, {Day: 28, Censored: 1},
	{Day: 31, Events: 1}, {Day: 34, Events: 1}, {Day: 45, Censored: 1}, {Day: 48, Events: 1}, {Day: 161, Censored: 1},
}

// curveOf is a curve as an answer gives it.
func curveOf(name string, counts []stats.DayCount) projections.PictureCurve {
	curve, err := stats.KaplanMeier(counts)
	if err != nil {
		panic(fmt.Sprintf("the sample is wrong: %v", err))
	}
	c := projections.PictureCurve{Name: name}
	for _, s := range curve.Steps() {
		limits, ok := s.Limits(stats.Level{})
		if !ok {
			limits = stats.Interval{Lo: -1, Hi: -1}
		}
		if s.Events > 0 {
			c.Steps = append(c.Steps, projections.CurveStep{float64(s.Day), s.S, limits.Lo, limits.Hi, float64(s.AtRisk)})
		}
		c.Watched = append(c.Watched, projections.PictureWatched{Day: int32(s.Day), Left: int32(s.AtRisk)})
		c.End = float64(s.Day)
	}
	return c
}

func oneCurve() *projections.Picture {
	return &projections.Picture{Title: "Share still here", Desc: "Half were gone after 31 days.", AxisX: "days since received", AxisY: "share still here",
		Curves: []projections.PictureCurve{curveOf("maintained", maintained)}}
}

// severalCurves differ in where they end, in their medians, and in one that
// lies flat on just one half.
func severalCurves() *projections.Picture {
	p := oneCurve()
	p.Curves = append(p.Curves,
		curveOf("flat on one half", []stats.DayCount{{Day: 10, Events: 2}, {Day: 40, Events: 2}}),
		curveOf("hardly any left", []stats.DayCount{{Day: 5, Events: 1}, {Day: 60, Censored: 9}}),
		curveOf("one only", []stats.DayCount{{Day: 20, Events: 1}}))
	return p
}

// sixCurves are as many as an answer draws.
func sixCurves() *projections.Picture {
	p := oneCurve()
	p.Curves = nil
	for i := range 6 {
		p.Curves = append(p.Curves, curveOf(fmt.Sprintf("group %d", i+1), []stats.DayCount{
			{Day: 5 + 4*i, Events: 4}, {Day: 20 + 3*i, Events: 5}, {Day: 40 + i, Events: 6, Censored: 2}, {Day: 60 + 2*i, Events: 3}, {Day: 80, Censored: 2}}))
	}
	return p
}

func highCurve() *projections.Picture {
	var counts []stats.DayCount
	for d := 100; d <= 900; d += 100 {
		counts = append(counts, stats.DayCount{Day: d, Events: 3, Censored: 70})
	}
	return &projections.Picture{Title: "Share not back", Desc: "Few come back.", AxisX: "days since shipped", AxisY: "share not back",
		Curves: []projections.PictureCurve{curveOf("any fault", counts)}}
}

func someBars() *projections.Picture {
	return &projections.Picture{Title: "Units a year, by model", Desc: "Corvane C-20 came most often.", AxisX: "units a year", Bars: []projections.PictureBar{
		{Name: "Corvane C-20", Value: 11.8, Lo: 10.6, Hi: 13.2, Text: "344"},
		{Name: "coupling capacitor 0.022 µF", Value: 4.5, Lo: 3.9, Hi: 5.1, Text: "129"},
		{Name: "Ostrel-Varnholt-Quillane-Tessaly", Value: 0.172, Lo: 0.056, Hi: 0.402, Text: "5"},
		{Name: "never seen", Value: 0, Lo: 0, Hi: 0.127, Text: "0"},
		{Name: "without limits", Value: 2, Text: "58"},
	}}
}

func someGrid() *projections.Picture {
	h := &projections.PictureHeat{Columns: []string{"not known", "1954", "1955", "1956"}, Rows: []string{"filter capacitor leaky", "output transistor shorted", "dial cord broken"}}
	h.Cells = [][]projections.PictureCell{
		{{Share: 0.17, Of: 543}, {Share: 0.47, Of: 17, Flagged: true}, {Share: 0.27, Of: 22}, {}},
		{{Share: 0.002, Of: 543}, {Share: 0, Of: 17}, {Share: 0.05, Of: 22, Flagged: true}, {}},
		{{Share: 1, Of: 543}, {Share: 0.118, Of: 17}, {Share: 0.045, Of: 22}, {}},
	}
	return &projections.Picture{Title: "Faults by year made", Desc: "Filter capacitor leaky stands out in 1954.", AxisX: "year made", Heat: h}
}

// wideGrid has a column for each of some years or models, and every class of
// colour, each once marked.
func wideGrid(columns int, name string) *projections.Picture {
	p := someGrid()
	h := &projections.PictureHeat{Columns: []string{"not known"}, Rows: p.Heat.Rows}
	for j := 1; j < columns; j++ {
		h.Columns = append(h.Columns, fmt.Sprintf(name, 1925+j))
	}
	for i := range h.Rows {
		row := make([]projections.PictureCell, columns)
		for j := range row {
			share := math.Mod(float64(i*31+j*7), 60) / 100
			row[j] = projections.PictureCell{Share: share, Of: 10 + j, Flagged: (i+j)%5 == 0}
		}
		h.Cells = append(h.Cells, row)
	}
	p.Heat = h
	return p
}

// someTrends has a gap, a level value, one that is never known and a long name.
func someTrends() *projections.Picture {
	none := math.NaN()
	return &projections.Picture{Title: "The year 2025", Desc: "103 received.", Trends: &projections.PictureTrends{
		Columns: []string{"2021", "2022", "2023", "2024", "2025"},
		Rows: []projections.PictureTrend{
			{Name: "received", Values: []float64{96, 91, 100, 108, 103}},
			{Name: "come back, %", Values: []float64{2.083, none, 3, 3.7, 0.05}},
			{Name: "level", Values: []float64{4, 4, 4, 4, 4}},
			{Name: "never known", Values: []float64{none, none, none, none, none}},
			{Name: "Ostrel-Varnholt-Quillane-Tessaly received again", Values: []float64{1, 20, 300, 4000, 123456}},
		},
	}}
}

// someRanges has a row without a usual part, values below zero, one value alone,
// large ones and a box too narrow to be seen.
func someRanges() *projections.Picture {
	return &projections.Picture{Title: "What sets read as they leave", Desc: "AM: usually 62 to 88 mV.", Ranges: []projections.PictureRange{
		{Name: "Ostrel R-950, AM", Of: "Audio level, AM", In: "mV", Least: 41, Low: 62, Middle: 75, High: 88, Most: 131, Usual: true, Text: "14"},
		{Name: "Ostrel-Varnholt-Quillane-Tessaly, AM", Of: "Audio level, AM", In: "mV", Least: 88, Middle: 92.5, Most: 97, Text: "2"},
		{Name: "Corvane C-20, AM", Of: "Audio level, AM", In: "mV", Least: 70, Middle: 70, Most: 70, Text: "1"},
		{Name: "right over left", Of: "Channel balance", In: "dB", Least: -2.4, Low: -1.1, Middle: -0.05, High: 0.8, Most: 1.9, Usual: true, Text: "344"},
		{Name: "main supply", Of: "Supply voltage", In: "V", Least: 210, Low: 240, Middle: 240.01, High: 240.02, Most: 260, Usual: true, Text: "9"},
		{Name: "plate to chassis", Of: "Resistance", In: "Ω", Least: 1e6, Low: 1.2e6, Middle: 2.2e6, High: 4.7e6, Most: 1e7, Usual: true, Text: "8"},
		{Name: "speed", Of: "a kind of a later table", Least: 33.3, Middle: 33.3, Most: 33.3, Text: "1"},
	}}
}

// samples are the pictures that every promise is held to.
func samples() map[string]*projections.Picture {
	return map[string]*projections.Picture{
		"curve":       oneCurve(),
		"curves":      severalCurves(),
		"curve-high":  highCurve(),
		"curves-six":  sixCurves(),
		"bars":        someBars(),
		"grid":        someGrid(),
		"trends":      someTrends(),
		"ranges":      someRanges(),
		"grid-wide":   wideGrid(60, "%d"),
		"grid-models": wideGrid(9, "Varnholt VH-%d Studio"),
	}
}
