package jobbook

import (
	"fmt"
	"slices"
	"strings"
)

// columns is which column holds what.
type columns struct {
	of       [nFields]int // by place in headings: the column, -1 for none
	readings []readingCol
	keyed    []keyedCol // the columns in use, in the order of a key
	used     []bool     // by column
}

type readingCol struct {
	ReadingColumn
	col int
}

// keyedCol is a column as it goes into a row's key: by its field's name, so
// that neither the order of the columns nor their headings change a key.
type keyedCol struct {
	name string
	slot int // where its text stands: by place in headings, then the readings
}

// assign gives the columns to fields: first as the mapping says, then by firm
// headings, then readings, then by loose headings. Each field has one column
// at most; what comes second is not used, since nobody said which of the two
// is right. The mapping is filled in with what was found.
func assign(m *Mapping, names []string) (columns, error) {
	c := columns{used: make([]bool, len(names))}
	for i := range c.of {
		c.of[i] = -1
	}
	settled, err := c.asMapped(m, names)
	if err != nil {
		return columns{}, err
	}
	c.byHeading(names, settled, firmField)
	c.byReading(m, names)
	c.byHeading(names, settled, looseField)
	m.Columns = make(map[Field]string, nFields)
	for i, h := range headings {
		if m.Columns[h.field] = ""; c.of[i] >= 0 {
			m.Columns[h.field] = names[c.of[i]]
		}
	}
	c.orderKey()
	return c, nil
}

// asMapped takes what the mapping says. It returns which fields it settles.
func (c *columns) asMapped(m *Mapping, names []string) (settled [nFields]bool, err error) {
	for f, heading := range m.Columns {
		i, ok := place[f]
		if !ok {
			return settled, fmt.Errorf("mapping: unknown field %q", f)
		}
		settled[i] = true
		if heading == "" {
			continue
		}
		col := column(names, heading)
		if col < 0 {
			return settled, fmt.Errorf("mapping: %s is to be in column %q, which the book does not have; its headings are: %s", f, heading, strings.Join(names, ", "))
		}
		if c.used[col] {
			return settled, fmt.Errorf("mapping: column %q is given to two fields, one of them %s", heading, f)
		}
		c.of[i], c.used[col] = col, true
	}
	for _, r := range m.Readings {
		col := column(names, r.Heading)
		switch {
		case col < 0:
			return settled, fmt.Errorf("mapping: a reading is to be in column %q, which the book does not have; its headings are: %s", r.Heading, strings.Join(names, ", "))
		case r.Point == "":
		case c.used[col]:
			return settled, fmt.Errorf("mapping: column %q is given to a field and to a reading", r.Heading)
		default:
			c.used[col] = true
			c.readings = append(c.readings, readingCol{r, col})
		}
	}
	return settled, nil
}

func column(names []string, heading string) int {
	want := strings.Join(strings.Fields(heading), " ")
	return slices.IndexFunc(names, func(n string) bool { return strings.EqualFold(n, want) })
}

func (c *columns) byHeading(names []string, settled [nFields]bool, fieldOf func(string) int) {
	for col, name := range names {
		if i := fieldOf(name); i >= 0 && !c.used[col] && c.of[i] < 0 && !settled[i] {
			c.of[i], c.used[col] = col, true
		}
	}
}

// byReading takes the columns whose heading ends in a unit, but for those that
// the mapping says are none, and fills the mapping in.
func (c *columns) byReading(m *Mapping, names []string) {
	said := map[int]bool{}
	for _, r := range m.Readings {
		said[column(names, r.Heading)] = true
	}
	for col, name := range names {
		r, ok := readingOf(name)
		if !ok || said[col] || c.used[col] || firmField(name) >= 0 {
			continue
		}
		c.used[col] = true
		c.readings = append(c.readings, readingCol{r, col})
		m.Readings = append(slices.Clip(m.Readings), r)
	}
	slices.SortStableFunc(c.readings, func(a, b readingCol) int { return a.col - b.col })
}

// unused gives the headings of the columns that nothing takes.
func (c *columns) unused(names []string) []string {
	var out []string
	for col, name := range names {
		if !c.used[col] {
			out = append(out, name)
		}
	}
	return out
}

// lacking says which column a book can't do without is not there.
func (c *columns) lacking() string {
	if c.of[atReceived] < 0 {
		return "no column is known as the date in: name it in the mapping"
	}
	if c.of[atMaker] < 0 && c.of[atModel] < 0 && c.of[atSerial] < 0 {
		return "no column is known as the maker, the model or the serial: name them in the mapping"
	}
	return ""
}

// orderKey puts the columns in use into the order of their fields' names.
func (c *columns) orderKey() {
	names := map[string]int{}
	for i, h := range headings {
		if c.of[i] >= 0 {
			names[string(h.field)] = i
		}
	}
	for i, r := range c.readings {
		names["reading "+strings.ToLower(r.Heading)] = nFields + i
	}
	for name, slot := range names {
		c.keyed = append(c.keyed, keyedCol{name, slot})
	}
	slices.SortFunc(c.keyed, func(a, b keyedCol) int { return strings.Compare(a.name, b.name) })
}
