package cli

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/oddshop"
	"oldhand/cmd/internal/paper/papertest"
	"oldhand/cmd/internal/workbook"
	"oldhand/projections"

	"github.com/spf13/cobra"
)

var oddSeeds = flag.Uint64("odd.seeds", 1, "how many shops with an odd bench are looked at")

// oddBench is a shop with an odd bench's events, open for commands.
type oddBench struct {
	t    *testing.T
	made oddshop.Shop
	shop *app.Shop
	ran  map[string]bool // commands, by their names
	top  string
}

func openOdd(t *testing.T, seed uint64) *oddBench {
	t.Helper()
	top := t.TempDir()
	made, err := oddshop.Make(top, seed)
	if err != nil {
		t.Fatal(err)
	}
	o := &oddBench{t: t, made: made, ran: map[string]bool{}, top: top}
	if o.shop, err = app.Open(made.Dir, o.options()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := o.shop.Close(); err != nil {
			t.Error(err)
		}
	})
	return o
}

func (o *oddBench) options() app.Options {
	return app.Options{State: o.made.State, Now: func() time.Time { return oddshop.Now }}
}

// run runs a command line at a terminal, in the process that has the folder open. It ends
// well, or with an error that holds one of some words.
func (o *oddBench) run(may []string, line ...string) (out string) {
	o.t.Helper()
	opt := o.options()
	opt.In = o.shop
	return o.runWith(opt, may, line...)
}

func (o *oddBench) runWith(opt app.Options, may []string, line ...string) (out string) {
	o.t.Helper()
	var stdout, stderr bytes.Buffer
	e := &env{in: strings.NewReader(""), out: &stdout, err: &stderr, ctx: o.t.Context(), looks: looks{terminal: true}, opt: opt}
	exit := -1
	func() {
		defer func() {
			if p := recover(); p != nil {
				o.t.Errorf("%.300q: panic: %v\n%s", line, p, debug.Stack())
			}
		}()
		exit = e.run(line)
	}()
	o.ran[line[0]] = true
	if told := stderr.String(); exit != 0 && !slices.ContainsFunc(may, func(words string) bool { return strings.Contains(told, words) }) {
		o.t.Errorf("%.300q: exit %d: %.600s", line, exit, told)
	}
	for _, text := range []string{stdout.String(), stderr.String()} {
		if obeyed := oddshop.Obeyed(text); obeyed != "" {
			o.t.Errorf("%.300q prints %s", line, obeyed)
		}
		if oddshop.Debris(text) != "" {
			o.t.Errorf("%.300q prints %s", line, oddshop.Debris(text))
		}
	}
	return stdout.String()
}

// both runs a command for a person and for a program.
func (o *oddBench) both(may []string, line ...string) {
	o.t.Helper()
	o.run(may, line...)
	at := len(line) // --json stands before what is no flag whatever it begins with
	if dash := slices.Index(line, "--"); dash >= 0 {
		at = dash
	}
	answer := o.run(may, slices.Insert(slices.Clone(line), at, "--json")...)
	var v any
	if answer != "" {
		if err := json.Unmarshal([]byte(answer), &v); err != nil {
			o.t.Errorf("%.300q: its JSON does not read: %v", line, err)
		}
	}
}

// written runs a command that writes a file, and gives its bytes.
func (o *oddBench) written(may []string, flag, name string, line ...string) []byte {
	o.t.Helper()
	path := filepath.Join(o.top, name)
	o.run(may, append(line, flag, path)...)
	b, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		o.t.Fatal(err)
	}
	_ = os.Remove(path) // it may not be there
	return b
}

// What a bench wrote that keeps no rule is shown by every command that shows anything,
// and no sign of it is obeyed (P10, F18).
func TestCommandsShowWhatABenchWroteThatKeepsNoRule(t *testing.T) {
	for seed := range *oddSeeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			o := openOdd(t, seed)
			for _, u := range append(o.made.Odd, o.made.Honest...) {
				o.unit(u)
			}
			o.finding()
			o.questions()
			o.shopWide()
			o.carried()
			o.everyCommand()
		})
	}
}

func (o *oddBench) unit(u string) {
	o.both(nil, "past", u, "--ids")
	o.both(nil, "record", u, "--contact", "--notes")
	for _, size := range []string{"a4", "letter"} {
		o.sheets(2, o.written(nil, "--out", "record.pdf", "record", u, "--contact", "--notes", "--paper", size))
	}
	o.both(nil, "record", u, "--visit", "1")
	o.both(nil, "attachments", u)
	o.run(nil, "attachments", u, "--out", filepath.Join(o.top, "out", u))
	o.run([]string{"has no test sheet", "no visit is open"}, "test", u)
	o.sheets(1, o.written([]string{"has no tag"}, "--out", "tag.pdf", "tags", u))
	o.drawing(o.written([]string{"has no tag"}, "--svg", "tag.svg", "tags", u))
}

// sheets reads a PDF back, where there is one.
func (o *oddBench) sheets(most int, pdf []byte) {
	o.t.Helper()
	if pdf == nil {
		return
	}
	if sheets, err := papertest.Read(pdf); err != nil || len(sheets) == 0 || len(sheets) > most {
		o.t.Errorf("a PDF of %d sheets, at most %d: %v", len(sheets), most, err)
	}
}

// drawing reads an SVG as XML, where there is one.
func (o *oddBench) drawing(svg []byte) {
	o.t.Helper()
	dec := xml.NewDecoder(bytes.NewReader(svg))
	for {
		at, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			o.t.Errorf("a drawing is no XML: %v", err)
			return
		}
		if el, ok := at.(xml.StartElement); ok && strings.HasPrefix(el.Name.Local, "odd") {
			o.t.Errorf("a drawing holds the element %s", el.Name.Local)
		}
	}
}

func (o *oddBench) finding() {
	for _, q := range []string{"Ostrel", "R-950", "e17", "7750", "<odd", "=1+1", "\x1b[2J", "e\u0301", "日本", "W", strings.Repeat("W", 300), "10019", "99", "#99", "-47 MMF", "a/b", " ", "\u202e", "https://x/unit/10019"} {
		o.both([]string{"finds nothing"}, "past", "--limit", "50", "--", q)
		o.run([]string{"did you mean", "no unit", "is not a tag", "finds nothing", "names"}, "attachments", "--", q)
	}
}

func (o *oddBench) questions() {
	o.both(nil, "ask")
	for _, q := range projections.Questions {
		by := q.By
		if len(by) == 0 {
			by = []string{""}
		}
		for _, b := range by {
			line := []string{"ask", q.Name, "--by", b}
			o.both(nil, line...)
			o.run(nil, append(line, "--format", "csv")...)
			o.table(line, o.written(nil, "--out", "answer.csv", append(line, "--format", "csv")...))
			if _, err := workbook.Open(o.written(nil, "--out", "answer.xlsx", append(line, "--format", "xlsx")...)); err != nil {
				o.t.Errorf("%q: the workbook does not read: %v", line, err)
			}
			o.drawing(o.written([]string{"has no picture"}, "--svg", "answer.svg", line...))
		}
	}
}

// table reads a CSV back: no cell of it that is no number is one that a spreadsheet runs.
func (o *oddBench) table(line []string, b []byte) {
	o.t.Helper()
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(b, []byte("\ufeff"))))
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		o.t.Errorf("%q: %d rows of CSV: %v", line, len(rows), err)
	}
	for _, row := range rows {
		for _, cell := range row {
			var n json.Number
			if cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r") && json.Unmarshal([]byte(cell), &n) != nil {
				o.t.Errorf("%q: a spreadsheet runs the cell %.100q", line, cell)
			}
		}
	}
}

func (o *oddBench) shopWide() {
	for _, command := range []string{"today", "words", "benches", "conflicts", "verify", "rebuild", "lan"} {
		o.both(nil, command)
	}
	o.both([]string{"something is to be done"}, "doctor")
	o.both(nil, "sheet", "list")
	list, err := o.shop.Sheets()
	if err != nil {
		o.t.Fatal(err)
	}
	for _, s := range list {
		o.both([]string{"no such sheet", "several"}, "sheet", "show", "--", s.Sheet.Name)
	}
	o.sheets(len(o.made.Odd), o.written(nil, "--out", "tags.pdf", "tags", "--benches"))
	o.run(nil, "export")
	o.run(nil, "export", "--format", "ords")
}

// carried takes all of the shop away in each form there is, and reads it back to the same.
func (o *oddBench) carried() {
	digest := func(s *app.Shop) string {
		v, err := s.Verify(nil)
		if err != nil || !v.OK {
			o.t.Errorf("not sound: %v, %s", err, v.Wrong)
		}
		return v.Digest
	}
	want := digest(o.shop)
	file := filepath.Join(o.top, "all.jsonl")
	o.run(nil, "export", "--with-keys", "--out", file)
	o.run(nil, "export", "--format", "ords", "--out", filepath.Join(o.top, "ords.csv")) // for programs: no sign is put before a formula
	o.run(nil, "bundle", "write", filepath.Join(o.top, "all.bundle"))
	o.run(nil, "backup", "write", filepath.Join(o.top, "all.backup"))
	dir := filepath.Join(o.top, "again")
	o.runWith(o.options(), nil, "import", file, "--shop", dir)
	again, err := app.Open(dir, o.options())
	if err != nil {
		o.t.Fatal(err)
	}
	if got := digest(again); got != want {
		o.t.Errorf("the export comes back as digest %s, not %s", got, want)
	}
	if err := again.Close(); err != nil {
		o.t.Error(err)
	}
}

// notForReading are commands that show nothing of what benches wrote, or only what one of
// their own actions saved.
var notForReading = strings.Fields(`help completion new receive identify diagnose replace work measure estimate wait resume ship note attach
	correct withdraw restore same apart settle word day forget import demo read serve host join invite sync retire release owner-key cluster`)

// everyCommand fails for a command that was not run and is not known to show nothing.
func (o *oddBench) everyCommand() {
	e := &env{}
	for _, c := range e.root().Commands() {
		if name := (*cobra.Command).Name(c); !o.ran[name] && !slices.Contains(notForReading, name) {
			o.t.Errorf("the command %s is shown no odd shop: run it here, or add it to notForReading", name)
		}
	}
}
