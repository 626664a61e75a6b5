package web

import (
	"errors"
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
)

// addWord is what the button sends that puts a word into a table: the table, a colon
// and the word.
const addWord = "add-word"

// tableNames are the tables as a page calls them.
var tableNames = map[string]string{
	"component": "components", "failure mode": "failure modes", "work": "kinds of work", "kind of set": "kinds of set", "outcome": "outcomes", "cause": "causes",
}

// offerWord offers to add the word that was refused.
func (f *form) offerWord(none *app.NoWord) {
	f.Offer = &offer{none.Table + ":" + none.Typed, fmt.Sprintf("Add “%s” to the %s and save", none.Typed, tableNames[none.Table])}
}

// noWordWords says of a word that no table has what a page has to say.
func noWordWords(none *app.NoWord) string {
	why := "“" + none.Typed + "” is not among the " + tableNames[none.Table] + "."
	if len(none.Near) > 0 {
		why += " Perhaps " + strings.Join(none.Near, ", ") + "?"
	}
	return why + " A new word can be added with the button below."
}

// addOffered adds the word whose button was pressed, if it still stands in the form
// and no table has it yet. It is an entry of its own: where the form is refused for
// something else, the word stays added.
func (q *request) addOffered(f *form) ([]notice, error) {
	table, word, ok := strings.Cut(f.sent.Get(addWord), ":")
	if !ok || !f.holds(word) {
		return nil, nil
	}
	if is, err := q.shop.IsWord(table, word); err != nil || is {
		return nil, err
	}
	w, err := whoOf(f)
	if err != nil {
		return nil, err
	}
	saved, err := q.shop.AddWord(table, word, app.Who{By: w.By})
	if err != nil {
		return nil, err
	}
	return savedWords(saved, nil), nil
}

// holds reports whether a field holds a word.
func (f *form) holds(word string) bool {
	for _, x := range f.Fields {
		if word != "" && x.Value == word {
			return true
		}
	}
	return false
}

// wordsPage is the tables of words.
type wordsPage struct {
	Own    *table // what the shop added
	Tables []wordTable
	Form   *form
}

type wordTable struct {
	Name  string
	Table table
}

func tradeWords(q *request) error {
	return q.wordsPage(wordForm())
}

func wordForm() *form {
	return &form{ID: "word", Action: "/words", Submit: "Add the word", Once: newOnce(), Fields: []*field{
		{Name: "table", Label: "Table", Kind: "select", Options: tableOptions()},
		{Name: "name", Label: "Name", Required: true, Hint: "As answers are to show it, such as wall box door."},
		{Name: "by", Label: "By", Hint: "Your short name."},
	}}
}

func tableOptions() (list []option) {
	for _, t := range app.Tables {
		list = append(list, option{t, tableNames[t]})
	}
	return list
}

// wordsAdd adds a word.
func wordsAdd(q *request) error {
	f := wordForm()
	return q.post(f, func() (string, []notice, error) {
		saved, err := q.shop.AddWord(f.value("table"), f.value("name"), app.Who{By: f.value("by")})
		if wrong := (*app.Wrong)(nil); errors.As(err, &wrong) && f.field(wrong.What) == nil {
			err = &app.Wrong{What: "name", Why: wrong.Why}
		}
		return "/words", savedWords(saved, nil), err
	}, func() error { return q.wordsPage(f) })
}

func (q *request) wordsPage(f *form) error {
	list, err := q.shop.Words()
	if err != nil {
		return err
	}
	p := wordsPage{Form: f}
	own := table{Caption: "Words that the shop added", Head: []string{"name", "word", "table", "added", "by", "bench"}}
	byTable := map[string]*wordTable{}
	for _, name := range app.Tables {
		n := tableNames[name]
		byTable[name] = &wordTable{Name: strings.ToUpper(n[:1]) + n[1:], Table: table{Caption: strings.ToUpper(n[:1]) + n[1:], Head: []string{"name", "word", ""}}}
	}
	for _, w := range list {
		mark := ""
		if w.Added != "" {
			mark = "the shop's own"
			own.Rows = append(own.Rows, []cell{{Text: w.Name}, {Text: w.ID}, {Text: w.Table}, {Text: dayOf(w.Added)}, {Text: w.By}, {Text: w.Bench}})
		}
		if t := byTable[w.Table]; t != nil {
			t.Table.Rows = append(t.Table.Rows, []cell{{Text: w.Name}, {Text: w.ID}, {Text: mark}})
		}
	}
	if len(own.Rows) > 0 {
		p.Own = &own
	}
	for _, name := range app.Tables {
		if len(byTable[name].Table.Rows) > 0 {
			p.Tables = append(p.Tables, *byTable[name])
		}
	}
	return q.show("words", "The words of the tables", p)
}
