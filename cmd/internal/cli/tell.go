package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode"

	"oldhand/cmd/internal/app"
)

// usage is a command line that can't be read.
type usage struct{ err error }

func (u *usage) Error() string { return u.err.Error() }

// code is the exit code of an error: that of its class, or of a command line
// that can't be read.
func code(err error) int {
	var u *usage
	if errors.As(err, &u) || err != nil && strings.HasPrefix(err.Error(), "unknown command") {
		return app.ExitMisused
	}
	return app.ClassOf(err).Exit
}

// tell says what went wrong and gives the exit code.
func (e *env) tell(err error) int {
	if exit, ok := ran(err); ok {
		return exit
	}
	c := code(err)
	if c == app.ExitDone {
		return c
	}
	if e.json {
		e.tellJSON(err, c)
		return c
	}
	fmt.Fprintln(e.err, "oldhand: "+err.Error())
	if hint := app.HintFor(err); hint != "" {
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
		if s.Usual != "" {
			e.printf("%s\n", s.Usual)
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
