package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/shown"
	"oldhand/events"
)

// Walking a test sheet in the terminal. Questions go to standard error, as all
// that is no answer; what is saved goes to standard output. The folder is open
// only while something is read or saved, so that others can use it meanwhile.

// walking is what a walk was asked for.
type walking struct {
	sheet string
	found bool
	anew  bool
}

// walk is a test that is being walked.
type walk struct {
	e    *env
	in   *bufio.Reader
	who  app.Who
	unit string // its id
	name string // as it was typed
	dir  string
	once string
	test app.SheetTest
	said app.TestTyped
}

// errStopped ends a walk that is gone on with later.
var errStopped = errors.New("stopped")

const walkHelp = `  a reading, such as 95 mV      y or n where a yes or no is asked
  Enter    leave it as it is     -    leave it out, and say why
  <        back one check        >5   go to check 5
  .        stop here; what was typed is kept`

func (e *env) walkTest(unit string, how walking, leftOut string) error {
	w := &walk{e: e, in: bufio.NewReader(e.in), name: unit}
	var err error
	if w.who, err = e.who(); err != nil {
		return err
	}
	if err := w.begin(how, leftOut); err != nil {
		return err
	}
	err = w.checks()
	if err == nil {
		err = w.end()
	}
	if errors.Is(err, errStopped) {
		return w.stopped()
	}
	return err
}

// begin finds the sheet, and what was typed of it before.
func (w *walk) begin(how walking, leftOut string) error {
	return w.e.read(func(s *app.Shop) (err error) {
		w.dir = s.Dir
		if w.test, err = s.SheetTest(w.name, app.TestTyped{Sheet: how.sheet}); err != nil {
			return err
		}
		w.unit = w.test.Unit
		if err := w.hasSheet(); err != nil {
			return err
		}
		kept := false
		if !how.anew {
			if w.said, w.once, kept, err = s.KeptTest(w.unit); err != nil {
				return err
			}
		}
		if how.sheet != "" && kept && w.said.Sheet != w.test.Sheet.ID.String() {
			return &app.NotHere{Unit: w.name, Why: "has a test by another sheet that was begun and not saved; go on with it without --sheet, or throw it away with --anew"}
		}
		if !kept {
			w.said, w.once = app.TestTyped{Sheet: w.test.Sheet.ID.String(), Checks: map[int]app.CheckTyped{}}, app.NewOnce()
			if how.found {
				w.said.Stage = events.AsFound
			}
		}
		if leftOut != "" {
			w.said.LeftOut = leftOut
		}
		if w.test, err = s.SheetTest(w.unit, w.said); err == nil {
			w.greet(kept)
			err = s.AddUsual(&w.test)
		}
		return err
	})
}

func (w *walk) hasSheet() error {
	o := w.test.Sheet
	switch {
	case o == nil:
		return &app.NotHere{Unit: w.name, Why: "has no test sheet: neither its model nor its kind of set has one; see: oldhand sheet list"}
	case !o.Own:
		return &app.NotHere{Unit: w.name, Why: fmt.Sprintf("has no test sheet of the shop; one for its kind of set comes with the program: oldhand sheet take %q", o.Sheet.Name)}
	}
	return nil
}

func (w *walk) greet(kept bool) {
	t := w.test
	w.e.prompt("%s  %s: %s, %s, %s\n", t.Tag, t.Name, t.Sheet.Sheet.Name, events.Count(len(t.Rows), "check"), t.Stage)
	if kept {
		w.e.prompt("what was typed before and not saved is here; --anew throws it away\n")
	}
	w.e.promptLines(walkHelp)
}

// prompt puts a question, or what goes with one.
func (e *env) prompt(format string, args ...any) {
	for i, a := range args {
		if text, ok := a.(string); ok {
			args[i] = shown.Line(text)
		}
	}
	fmt.Fprintf(e.err, format, args...)
}

// promptLines puts a text of several lines.
func (e *env) promptLines(text string) {
	for line := range strings.Lines(text) {
		e.prompt("%s\n", strings.TrimSuffix(line, "\n"))
	}
}

func (e *env) clock() time.Time {
	if e.opt.Now != nil {
		return e.opt.Now()
	}
	return time.Now()
}

// line reads an answer. Where nothing more comes, the walk stops.
func (w *walk) line() (string, error) {
	text, err := w.in.ReadString('\n')
	if errors.Is(err, io.EOF) && text == "" {
		return "", errStopped
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	return strings.TrimSpace(text), nil
}

// words reads why something is so.
func (w *walk) words() (string, error) {
	text, err := w.line()
	if text == "." {
		err = errStopped
	}
	return text, err
}

// checks goes through the sheet, beginning where nothing is yet; where all is said,
// the verdict is next.
func (w *walk) checks() error {
	at := w.firstOpen()
	for at < len(w.test.Rows) {
		next, err := w.check(at)
		if err != nil {
			return err
		}
		at = min(max(next, 0), len(w.test.Rows))
	}
	return nil
}

func (w *walk) firstOpen() int {
	for i, r := range w.test.Rows {
		typed := w.said.Checks[r.Number]
		if typed.Reading == "" && typed.Words == "" && r.Before == "" {
			return i
		}
	}
	return len(w.test.Rows)
}

// check asks for one check and gives the place of the next.
func (w *walk) check(at int) (int, error) {
	r := w.test.Rows[at]
	w.question(r)
	text, err := w.line()
	var to int
	switch {
	case err != nil:
		return at, err
	case text == ".":
		return at, errStopped
	case text == "?":
		w.e.promptLines(walkHelp)
		return at, nil
	case text == "<":
		return at - 1, nil
	case number(text, &to):
		return to - 1, nil
	case text == "":
		w.outcome(at)
		return at + 1, nil
	case text == "-" || strings.EqualFold(text, "none"):
		return w.leaveOut(at, r)
	}
	if err := w.set(r.Number, app.CheckTyped{Reading: text}); err != nil {
		return at, err
	}
	w.outcome(at)
	return at + 1, w.despite(at)
}

// number reads ">5".
func number(text string, n *int) bool {
	_, err := fmt.Sscanf(text, ">%d", n)
	return err == nil
}

// question says what is to be read, how, and what was read before.
func (w *walk) question(r app.TestRow) {
	e := w.e
	if r.Caution != "" {
		e.promptLines(r.Caution)
	}
	if r.Conditions != "" {
		e.prompt("      %s\n", r.Conditions)
	}
	var about []string
	for _, a := range []string{prefixed("only where there is: ", r.OnlyWhere), r.Limits, r.Usual, prefixed("with ", r.Instrument)} {
		if a != "" {
			about = append(about, a)
		}
	}
	if r.YesNo {
		about = append(about, "y or n")
	}
	had := ""
	if typed := w.said.Checks[r.Number].Reading; typed != "" {
		had = " [" + typed + "]"
	} else if r.Before != "" {
		had = " [read already: " + r.Before + "]"
	}
	e.prompt("%2d/%d  %s%s%s: ", r.Number, len(w.test.Rows), r.Label, inBrackets(about), had)
}

func prefixed(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}

func inBrackets(parts []string) string {
	if len(parts) == 0 {
		return ""
	}
	return " (" + strings.Join(parts, "; ") + ")"
}

// set keeps what was said of a check, and judges it.
func (w *walk) set(number int, typed app.CheckTyped) error {
	w.said.Checks[number] = typed
	if err := w.keep(); err != nil {
		return err
	}
	return w.test.Hold(w.said)
}

// keep puts what was typed where it is found again.
func (w *walk) keep() error {
	return app.KeepUnsentIn(w.dir, app.Unsent{Form: app.TestForm, About: w.unit, Once: w.once, Values: w.said.Values(), At: w.e.clock()})
}

// outcome says how a check came out.
func (w *walk) outcome(at int) {
	r := w.test.Rows[at]
	switch {
	case r.Reading == "" && r.LeftOut:
		w.e.prompt("        left out\n")
	case r.Reading == "":
		w.e.prompt("        not made\n")
	case r.Result == "within":
		w.e.prompt("        %s: within\n", r.Reading)
	case r.Off:
		w.e.prompt("        OFF: %s\n", r.Why)
	case r.Limits == "" && r.Why == noLimits:
		w.e.prompt("        %s\n", r.Reading)
	default:
		w.e.prompt("        %s: not judged, %s\n", r.Reading, r.Why)
	}
}

// noLimits is why a reading of a check without limits is not judged.
const noLimits = "there are no limits"

func (w *walk) leaveOut(at int, r app.TestRow) (int, error) {
	words := ""
	if r.OnlyWhere == "" && w.test.Stage == events.AsLeft {
		w.e.prompt("        why is it left out? ")
		var err error
		if words, err = w.words(); err != nil {
			return at, err
		}
	}
	if err := w.set(r.Number, app.CheckTyped{Reading: "-", Words: words}); err != nil {
		return at, err
	}
	w.outcome(at)
	return at + 1, nil
}

// despite asks why a set is to pass although a check is off. No words help where
// it is what the set lets through to who touches it.
func (w *walk) despite(at int) error {
	r := w.test.Rows[at]
	if !r.Needs || w.test.Stage != events.AsLeft {
		return nil
	}
	if r.Touch && r.Off {
		w.e.prompt("        as long as that is the last reading, it has not passed\n")
		return nil
	}
	w.e.prompt("        why does it pass all the same? (Enter: it does not) ")
	words, err := w.words()
	if err != nil || words == "" {
		return err
	}
	return w.set(r.Number, app.CheckTyped{Reading: w.said.Checks[r.Number].Reading, Words: words})
}
