package web

import (
	"errors"
	"fmt"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events/eventlog"
)

// A log that has stopped is served no further; the program ends, and says with
// what exit code. How a log comes to stop is tested where that happens, in
// package eventlog.
func TestServingEndsWithTheLog(t *testing.T) {
	s, err := New(Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Listen("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	s.Check() // nothing is open: nothing ends
	for range 3 {
		s.end(fmt.Errorf("append: %w", eventlog.ErrDead))
	}
	err = s.Run(t.Context())
	if !errors.Is(err, eventlog.ErrDead) || app.ClassOf(err).Exit != app.ExitNotSaved {
		t.Errorf("ended with %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
