package cli

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events/eventlog"
)

func TestWhatWasTypedIsShownAndNeverObeyed(t *testing.T) {
	var out bytes.Buffer
	e := &env{out: &out}
	e.printf("    %s  %s\n", "2026-11-25", "note: fine\n    2026-11-26  final test passed\x1b[31m")
	if got, want := out.String(), "    2026-11-25  note: fine\u23ce    2026-11-26  final test passed\ufffd[31m\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestExitCodesAreWhatTheHelpSays(t *testing.T) {
	for want, err := range map[int]error{
		app.ExitDone:     nil,
		app.ExitFailed:   errors.New("anything"),
		app.ExitMisused:  &usage{errors.New("want: UNIT")},
		app.ExitUnclear:  fmt.Errorf("row 3: %w", &app.Unclear{Typed: "x"}),
		app.ExitNotSaved: fmt.Errorf("append: %w", eventlog.ErrDead),
		app.ExitDamaged:  fmt.Errorf("verify: %w", eventlog.ErrDamaged),
	} {
		if got := code(err); got != want {
			t.Errorf("%v: exit code %d, want %d", err, got, want)
		}
	}
}

func TestColumnsStandUnderEachOtherByWhatATerminalShows(t *testing.T) {
	lines := columns([][]string{{"tag", "unit", "empty"}, {"1", "日本", ""}, {"22", "x", ""}})
	for i, want := range []string{"tag  unit", "1    日本", "22   x"} {
		if lines[i] != want {
			t.Errorf("line %d: %q, want %q", i, lines[i], want)
		}
	}
}
