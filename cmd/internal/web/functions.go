package web

import (
	"fmt"
	"html/template"
	"net/url"
	"strings"

	"oldhand/cmd/internal/picture"
	"oldhand/events"
	"oldhand/projections"
)

// functions are what templates may call. They turn values into words and
// addresses, and fetch nothing.
func functions(l *look) template.FuncMap {
	return template.FuncMap{
		"file":    func(name string) string { return "/static/" + l.names[name] },
		"at":      address,
		"has":     func(name string) bool { _, ok := page(name); return ok },
		"day":     dayOf,
		"count":   events.Count,
		"spoken":  spoken,
		"draw":    drawing,
		"broad":   broadDrawing,
		"spark":   func(values []float64, title string) template.HTML { return inPage(picture.Spark(values, title)) },
		"default": func(other, s string) string { return choose(s != "", s, other) },
		"dict":    dict,
	}
}

// address is where a page is, by its name, with what stands in its path.
func address(name string, in ...string) (string, error) {
	p, ok := page(name)
	if !ok {
		return "", fmt.Errorf("there is no page %s", name)
	}
	at := strings.TrimSuffix(p.at, "{$}")
	for _, v := range in {
		from, to := strings.IndexByte(at, '{'), strings.IndexByte(at, '}')
		if from < 0 || to < from {
			return "", fmt.Errorf("page %s takes no %q", name, v)
		}
		at = at[:from] + url.PathEscape(v) + at[to+1:]
	}
	return at, nil
}

// dayOf leaves the time of day out: a timeline is read by days.
func dayOf(at string) string { return at[:min(len(at), len("2026-11-25"))] }

// span says a number of days in the measure that a person would.
func span(days int) string {
	switch {
	case days < 100:
		return events.Count(days, "day")
	case days < 730:
		return fmt.Sprintf("%d months", int(float64(days)/daysAMonth))
	}
	return fmt.Sprintf("%.1f years", float64(days)/daysAYear)
}

// Of the Gregorian calendar, on average.
const (
	daysAYear  = 365.2425
	daysAMonth = daysAYear / 12
)

// spoken is a word of a table as it is said.
func spoken(id string) string { return strings.ReplaceAll(id, "-", " ") }

func choose[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}

// drawing is an answer's picture for a page; nothing where there is none.
func drawing(p *projections.Picture) (template.HTML, error) {
	if p == nil {
		return "", nil
	}
	svg, err := picture.SVG(p)
	return inPage(svg), err
}

// broadGrid is a grid in one piece, in the parts that scroll against each other.
type broadGrid struct{ Head, Names, Cells template.HTML }

// broadDrawing is the grid of a picture that is too broad for one drawing; nil
// for every other picture.
func broadDrawing(p *projections.Picture) (*broadGrid, error) {
	d, ok, err := picture.BroadGrid(p)
	if err != nil || !ok {
		return nil, err
	}
	return &broadGrid{inPage(d.Head), inPage(d.Names), inPage(d.Cells)}, nil
}

// dict is named values for a part that takes more than one.
func dict(pairs ...any) (map[string]any, error) {
	m := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("dict: %v is no name", pairs[i])
		}
		m[name] = pairs[i+1]
	}
	return m, nil
}
