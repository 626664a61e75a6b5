package sums

import (
	"math"
	"strings"

	"oldhand/cmd/internal/picture"
	"oldhand/events/measure"
)

// Drawn is the dial as a picture's numbers. A line is laid only where it says
// something: not through too few readings, nor through those that lie on none.
func (d Dial) Drawn() picture.Dial {
	var said []string
	p := picture.Dial{Title: "Dial readings"}
	for _, b := range d.Bands {
		said = append(said, b.words())
		p.Panels = append(p.Panels, d.panel(b))
	}
	p.Desc = strings.Join(said, " ")
	return p
}

func (d Dial) panel(b DialBand) picture.DialPanel {
	panel := picture.DialPanel{Name: string(b.Band), Unit: "kHz", PerUnit: 1, First: float64(b.FirstKHz), Last: float64(b.LastKHz), Readable: float64(b.Readable)}
	if b.Band == measure.FM {
		panel.Unit, panel.PerUnit = "MHz", 1000
	}
	if b.found != measure.DialTooFew && b.found != measure.DialScattered {
		panel.Line = &picture.DialTrend{Low: float64(b.LowKHz), High: float64(b.HighKHz), AtLow: math.Round(10*b.AtLow) / 10, AtHigh: math.Round(10*b.AtHigh) / 10}
	}
	for _, l := range d.Readings {
		if l.Band != b.Band {
			continue
		}
		mark := picture.DialGuess
		switch {
		case l.Known:
			mark = picture.DialKnown
		case len(l.Against) > 1:
			mark = picture.DialHalfway
		}
		for _, a := range l.Against {
			panel.Points = append(panel.Points, picture.DialPoint{Station: float64(a.StationKHz), Error: float64(a.ErrorKHz), Mark: mark})
		}
	}
	return panel
}

// HasPicture reports whether there is anything to draw.
func (d Dial) HasPicture() bool { return len(d.Bands) > 0 }
