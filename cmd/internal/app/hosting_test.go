package app_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
)

// A host that fills an exchange for the first time is at it for longer than a joiner
// tries with a code that is not let in. The code is heard of all the same, and the
// joiner waits for the answer.
func TestACodeMadeWhileTheHostIsBusyLetsABenchIn(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "front")
	o := app.Options{State: t.TempDir()}
	s, err := app.Found(dir, "Lantern Street Radio", "front", o)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	h, err := app.OpenHosting(ctx, dir, "127.0.0.1:0", o, func(words string) { t.Log("host: ", words) })
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- h.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	}()
	done := h.Busy()
	if s, err = app.Open(dir, o); err != nil {
		t.Fatal(err)
	}
	in, err := s.Invite()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	free := time.AfterFunc(6*time.Second, done) // it tries for three
	defer func() {
		if free.Stop() {
			done()
		}
	}()
	j, err := app.Join(context.Background(), filepath.Join(t.TempDir(), "attic"), []string{in.Code}, "attic", app.Options{State: t.TempDir()})
	if err != nil || j.Bench != "attic" || j.Name != "Lantern Street Radio" {
		t.Errorf("joined %+v, %v", j, err)
	}
}
