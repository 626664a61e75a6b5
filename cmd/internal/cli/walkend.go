package cli

import (
	"errors"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// end shows the checks once more, asks for the verdict and saves the test.
func (w *walk) end() error {
	for i, r := range w.test.Rows {
		already := ""
		if w.said.Checks[r.Number].Reading == "" && r.Before != "" {
			already = ", read already: " + r.Before
		}
		w.e.prompt("%2d/%d  %s%s\n", r.Number, len(w.test.Rows), r.Label, already)
		w.outcome(i)
	}
	for {
		if again, err := w.verdict(); err != nil || !again {
			return err
		}
	}
}

// verdict asks for it once; again is true where it could not be saved as it is.
func (w *walk) verdict() (again bool, err error) {
	w.open()
	if w.test.Stage != events.AsLeft {
		w.e.prompt("save the readings? (y, or Enter: keep for later) ")
		text, err := w.line()
		if yes, _ := app.YesNo(text); err != nil || !yes {
			return false, errors.Join(err, stopUnless(err))
		}
		return false, w.save()
	}
	w.e.prompt("verdict (passed, failed, unfinished; readings: only those; >N: check N again; Enter: keep for later): ")
	text, err := w.line()
	var to int
	switch {
	case err != nil:
		return false, err
	case number(text, &to):
		return true, w.checkAgain(to)
	case text == "" || text == ".":
		return false, errStopped
	case text == "<":
		return true, w.checkAgain(len(w.test.Rows))
	case text == "readings":
		w.said.Verdict = ""
		return false, w.save()
	}
	verdict, words, _ := strings.Cut(text, " ")
	if strings.HasPrefix(text, events.NotFinished) {
		verdict, words = events.NotFinished, strings.TrimPrefix(text, events.NotFinished)
	}
	w.said.Verdict, w.said.Text = verdictOf(verdict), strings.TrimSpace(words)
	if err := w.keep(); err != nil {
		return false, err
	}
	err = w.save()
	var not *app.NotPassed
	var invalid *events.Invalid
	if errors.As(err, &not) || errors.As(err, &invalid) {
		w.said.Verdict = ""
		w.e.promptLines(err.Error())
		w.e.prompt("nothing was saved; say what is missing, or give another verdict\n")
		return true, nil
	}
	return false, err
}

// stopUnless stops a walk that no error has ended.
func stopUnless(err error) error {
	if err != nil {
		return nil
	}
	return errStopped
}

// checkAgain asks for one check and comes back.
func (w *walk) checkAgain(number int) error {
	if number < 1 || number > len(w.test.Rows) {
		w.e.prompt("        there are checks 1 to %d\n", len(w.test.Rows))
		return nil
	}
	_, err := w.check(number - 1)
	return err
}

// open says which checks still lack something.
func (w *walk) open() {
	var open []string
	for _, r := range w.test.Rows {
		if r.Needs {
			open = append(open, r.Label)
		}
	}
	if len(open) > 0 && w.test.Stage == events.AsLeft {
		w.e.prompt("not made, off, or not judged, and without words: %s\n", strings.Join(open, "; "))
	}
}

// save writes the test down, once.
func (w *walk) save() error {
	return w.e.write(func(s *app.Shop) error {
		saved, err := s.Once(w.once, "").SaveTest(w.unit, w.who, w.said)
		if err != nil {
			return err
		}
		if err := s.DropUnsent(app.TestForm, w.unit); err != nil {
			w.e.note(err.Error()) // it is known for saved by its id
		}
		return w.e.saved(saved)
	})
}

// stopped says that what was typed is kept.
func (w *walk) stopped() error {
	if len(w.said.Checks) == 0 {
		w.e.prompt("\nnothing was typed\n")
		return nil
	}
	if err := w.keep(); err != nil {
		return err
	}
	w.e.prompt("\nkept, and not saved yet; go on within two weeks with: oldhand test %s, or on the page\n", w.name)
	return w.e.answer(w.test, func() {})
}
