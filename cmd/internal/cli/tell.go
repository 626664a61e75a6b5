package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/evidence"
)

// Exit codes. They are in the help and never change.
const (
	done     = 0
	failed   = 1
	misused  = 2
	unclear  = 3
	notSaved = 4
	damaged  = 5
)

// usage is a command line that can't be read.
type usage struct{ err error }

func (u *usage) Error() string { return u.err.Error() }

// code sorts errors into exit codes: the one table from what happened to what
// the outside sees.
func code(err error) int {
	var u *usage
	var un *app.Unclear
	switch {
	case err == nil:
		return done
	case errors.As(err, &u), strings.HasPrefix(err.Error(), "unknown command"):
		return misused
	case errors.As(err, &un):
		return unclear
	case errors.Is(err, eventlog.ErrDamaged), errors.Is(err, errNotSound):
		return damaged
	case errors.Is(err, eventlog.ErrReadOnly), errors.Is(err, eventlog.ErrDead):
		return notSaved
	}
	return failed
}

// tell says what went wrong and gives the exit code.
func (e *env) tell(err error) int {
	c := code(err)
	if c == done {
		return c
	}
	if e.json {
		e.tellJSON(err, c)
		return c
	}
	fmt.Fprintln(e.err, "oldhand: "+err.Error())
	if hint := hintFor(err); hint != "" {
		fmt.Fprintln(e.err, hint)
	}
	return c
}

func (e *env) tellJSON(err error, c int) {
	answer := map[string]any{"error": err.Error(), "exit": c}
	var un *app.Unclear
	if errors.As(err, &un) {
		answer["likely"] = un.Likely
	}
	_ = json.NewEncoder(e.err).Encode(answer) // there is nowhere left to say that this failed
}

// hintFor is what to do next, where that can be said.
func hintFor(err error) string {
	var invalid *events.Invalid
	var unmet app.Unmet
	switch {
	case errors.Is(err, eventlog.ErrDead):
		return "nothing more is written in this state; run the command again: it reads what is really on the disk"
	case errors.Is(err, eventlog.ErrDiskFull), errors.Is(err, evidence.ErrFull):
		return "free some space and try again; looking things up and export work meanwhile"
	case errors.Is(err, eventlog.ErrInUse):
		return "another oldhand has this folder open; let it finish, or close it"
	case errors.Is(err, eventlog.ErrDamaged):
		return "keep the folder as it is; read an export or a copy of another bench into a new folder with: oldhand import FILE --shop NEW"
	case errors.As(err, &invalid):
		return "nothing was saved"
	case errors.As(err, new(*app.NotWhole)):
		return "copy it again and read it once more; what is here already is not taken twice"
	case errors.As(err, &unmet):
		return unmet.Next()
	}
	return ""
}

// note tells a person something that is not the answer.
func (e *env) note(text string) { fmt.Fprintln(e.err, "note: "+visible(text)) }

// answer prints what came of a command: as JSON, or as say writes it.
func (e *env) answer(v any, say func()) error {
	if !e.json {
		say()
		return nil
	}
	enc := json.NewEncoder(e.out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// printf prints for people. What was typed is shown, never obeyed: a line end
// or a terminal's control codes in a note must not look like lines of ours.
func (e *env) printf(format string, args ...any) {
	for i, a := range args {
		switch a := a.(type) {
		case string:
			args[i] = visible(a)
		case fmt.Stringer:
			args[i] = visible(a.String())
		}
	}
	fmt.Fprintf(e.out, format, args...)
}

// visible shows control characters as signs.
func visible(s string) string {
	if !strings.ContainsFunc(s, unicode.IsControl) {
		return s
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return '\u23ce'
		case r == '\t':
			return ' '
		case unicode.IsControl(r):
			return '\ufffd'
		}
		return r
	}, s)
}

// subject is what an action was about, before its line.
func subject(s app.Saved) string {
	if s.Unit == "" {
		return ""
	}
	return s.Tag + "  " + s.Name + ": "
}

// saved tells what an action wrote.
func (e *env) saved(s app.Saved) error {
	return e.answer(s, func() {
		for _, ev := range s.Events {
			e.printf("%s%s\n", subject(s), ev.Line)
		}
		if caution := cautionFor(s.Events); caution != "" {
			fmt.Fprintln(e.out, caution)
		}
		for _, n := range s.Notes {
			e.note(n)
		}
	})
}

// cautionFor is the caution that stands beside entries of safety.
func cautionFor(evs []app.SavedEvent) string {
	for _, ev := range evs {
		if ev.Caution != "" {
			return ev.Caution
		}
	}
	return ""
}
