package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/jobbook"
)

// A mapping on the page is one line a column: its heading, some of its cells, and
// what it is. What comes back is put together as the text in which mappings are
// kept, so that the page and the command line have one way to read it.

// columnLine is a column of an old book.
type columnLine struct {
	Name    string // of its choice
	Heading string
	Cells   string // some of them
	Is      string // the field, "reading", or empty
	Options []option
	Reading string // point, unit, and as found or as left
}

// isReading is what a column of readings is chosen as.
const isReading = "reading"

// columnChoices are what a column may be.
func columnChoices() []option {
	list := []option{{"", "not used"}, {isReading, "a reading"}}
	for _, f := range jobbook.Fields() {
		list = append(list, option{string(f.Field), f.Words})
	}
	return list
}

func columnsOf(f *app.Incoming) (list []columnLine) {
	options := columnChoices()
	is := map[string]string{}
	for field, heading := range f.Mapping.Columns {
		is[heading] = string(field)
	}
	readings := map[string]string{}
	for _, r := range f.Mapping.Readings {
		if words := r.Words(); words != "" {
			is[r.Heading], readings[r.Heading] = isReading, words
		}
	}
	samples := f.Samples(3)
	for i, h := range f.Headings() {
		c := columnLine{Name: strconv.Itoa(i), Heading: h, Is: is[h], Options: options, Reading: readings[h]}
		if i < len(samples) {
			c.Cells = strings.Join(samples[i], " · ")
		}
		list = append(list, c)
	}
	return list
}

// settingFields are the lines of a mapping that are no columns.
func settingFields(in *app.Incoming) (list []*field) {
	for _, s := range in.Mapping.Settings() {
		f := &field{Name: "set " + s.Key, Label: s.Key, Value: s.Value, Hint: s.Hint}
		for _, v := range settingChoices[s.Key] {
			f.Options = append(f.Options, option{v, choose(v == "", "the file does not tell", v)})
		}
		if s.Key == setSheet {
			f.Options = sheetChoices(in)
		}
		list = append(list, f)
	}
	return list
}

// setSheet is the setting that says which sheet of a workbook is read.
const setSheet = "sheet"

func sheetChoices(in *app.Incoming) (list []option) {
	names, shown := in.SheetNames()
	for i, name := range names {
		list = append(list, option{name, shown[i]})
	}
	return list
}

// settingChoices are what a setting may be, where that is a short list.
var settingChoices = map[string][]string{
	"encoding":    {jobbook.UTF8, jobbook.Windows1252, jobbook.UTF16LE, jobbook.UTF16BE},
	"separator":   {",", ";", "tab", "|"},
	"dates":       {"", string(jobbook.MonthFirst), string(jobbook.DayFirst)},
	"day numbers": {"no", "yes"},
	"decimal":     {"", ".", ","},
}

// mappingText is what the page's form says, as a mapping is written. Of another sheet
// it says nothing but its name: the columns are those of the sheet that was shown.
func mappingText(f *app.Incoming, form url.Values) (string, error) {
	if sheet := form.Get("set " + setSheet); sheet != f.Mapping.Sheet {
		return fmt.Sprintf("%s = %s\n", setSheet, strconv.Quote(sheet)), nil
	}
	var b strings.Builder
	for _, s := range f.Mapping.Settings() {
		fmt.Fprintf(&b, "%s = %s\n", s.Key, strconv.Quote(strings.TrimSpace(form.Get("set "+s.Key))))
	}
	taken := map[string]string{}
	var readings strings.Builder
	for i, heading := range f.Headings() {
		switch is := form.Get("is " + strconv.Itoa(i)); {
		case is == isReading:
			words := strings.TrimSpace(form.Get("reading " + strconv.Itoa(i)))
			if words == "" {
				words = heading + ", "
			}
			fmt.Fprintf(&readings, "reading %s = %s\n", strconv.Quote(heading), strconv.Quote(words))
		case is == "":
			fmt.Fprintf(&readings, "reading %s = \"\"\n", strconv.Quote(heading))
		case taken[is] != "":
			return "", &app.Wrong{What: "the mapping", Why: fmt.Sprintf("columns %q and %q can't both be %s", taken[is], heading, is)}
		default:
			taken[is] = heading
		}
	}
	for _, field := range jobbook.Fields() {
		fmt.Fprintf(&b, "%s = %s\n", field.Field, strconv.Quote(taken[string(field.Field)]))
	}
	return b.String() + readings.String(), nil
}

// seenTable is the first rows as they would be taken.
func seenTable(b *jobbook.Book, n int) table {
	t := table{Caption: "The first rows, as they are read", Head: []string{"row", "received", "shipped", "maker", "model", "serial", "made", "customer", "complaint", "found", "parts", "charge"}, Numbers: map[int]bool{0: true}}
	for _, s := range b.Preview(n) {
		if s.Refused != nil {
			t.Rows = append(t.Rows, padded(len(t.Head), strconv.Itoa(s.Refused.Row), "", "", "", "", "", "", "", "refused: "+s.Refused.Why))
			continue
		}
		r := s.Row
		var found, parts []string
		for _, f := range r.Findings {
			found = append(found, f.Text)
		}
		for _, p := range r.Parts {
			parts = append(parts, p.Text)
		}
		t.Rows = append(t.Rows, padded(len(t.Head), strconv.Itoa(r.Number), r.Received.String(), r.Shipped.String(), r.Maker, r.Model, r.Serial, r.YearText,
			r.Customer, r.Complaint, strings.Join(found, "; "), strings.Join(parts, "; "), r.Charge.Text))
	}
	return t
}

func padded(n int, texts ...string) (row []cell) {
	for _, s := range slices.Concat(texts, make([]string, max(0, n-len(texts)))) {
		row = append(row, cell{Text: s})
	}
	return row
}
