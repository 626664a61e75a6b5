package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/shown"
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
	fmt.Fprintln(e.err, "oldhand: "+shown.Text(err.Error()))
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
	if b, err := json.Marshal(answer); err == nil { // else there is nowhere left to say it
		fmt.Fprintf(e.err, "%s\n", shown.JSON(b))
	}
}

// note tells a person something that is not the answer.
func (e *env) note(text string) { fmt.Fprintln(e.err, "note: "+shown.Line(text)) }

// answer prints what came of a command: as JSON, or as say writes it.
func (e *env) answer(v any, say func()) error {
	if !e.json {
		say()
		return nil
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(v); err != nil {
		return err
	}
	_, err := e.out.Write(shown.JSON(b.Bytes()))
	return err
}

// printf prints for people. What was typed is shown, never obeyed: a line end
// or a terminal's control codes in a note must not look like lines of ours.
func (e *env) printf(format string, args ...any) {
	for i, a := range args {
		switch a := a.(type) {
		case string:
			args[i] = shown.Line(a)
		case fmt.Stringer:
			args[i] = shown.Line(a.String())
		}
	}
	fmt.Fprintf(e.out, format, args...)
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
