package relay_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"oldhand/cmd/internal/relay"
)

func serve(t *testing.T, dir string, run relay.Run) *relay.Server {
	t.Helper()
	s, err := relay.Serve(dir, "http://127.0.0.1:1/", run)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() }) // some tests close it before
	return s
}

func echo(_ context.Context, c relay.Call, in io.Reader, out, errOut io.Writer) int {
	fmt.Fprint(out, strings.Join(c.Args, "|"), " from ", c.From)
	fmt.Fprint(errOut, "aside")
	return 3
}

func TestACommandRunsWhereTheFolderIsOpenAndItsExitCodeComesBack(t *testing.T) {
	dir := t.TempDir()
	serve(t, dir, echo)
	var out, errOut bytes.Buffer
	exit, asked, err := relay.Ask(dir, relay.Call{Args: []string{"note", "10019", "a\nb"}, From: "/there"}, strings.NewReader(""), &out, &errOut)
	if err != nil || !asked || exit != 3 {
		t.Fatalf("exit %d, asked %v, %v", exit, asked, err)
	}
	if out.String() != "note|10019|a\nb from /there" || errOut.String() != "aside" {
		t.Errorf("printed %q and %q", out.String(), errOut.String())
	}
}

func TestStandardInputIsReadOnlyByWhoAsksForIt(t *testing.T) {
	dir := t.TempDir()
	long := strings.Repeat("input ", 50_000)
	serve(t, dir, func(_ context.Context, c relay.Call, in io.Reader, out, _ io.Writer) int {
		if c.Args[0] == "read" {
			_, _ = io.Copy(out, in)
		}
		return 0
	})
	for _, c := range []struct {
		args, want string
		left       int
	}{{"read", long, 0}, {"look", "", len(long)}} {
		in := strings.NewReader(long)
		var out bytes.Buffer
		_, asked, err := relay.Ask(dir, relay.Call{Args: []string{c.args}}, in, &out, io.Discard)
		if err != nil || !asked || out.String() != c.want || in.Len() != c.left {
			t.Errorf("%s: asked %v, %v, printed %d bytes, %d left of %d", c.args, asked, err, out.Len(), in.Len(), len(long))
		}
	}
}

func TestWhereNobodyServesTheCommandIsNotAsked(t *testing.T) {
	dir := t.TempDir()
	if _, asked, err := relay.Ask(dir, relay.Call{}, nil, nil, nil); asked || err != nil {
		t.Fatalf("no card: %v, %v", asked, err)
	}
	// One that was killed leaves its card, and no one at the socket.
	card := fmt.Sprintf(`{"socket":%q}`, filepath.Join(dir, "gone"))
	if err := os.WriteFile(filepath.Join(dir, "serving.json"), []byte(card), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, asked, err := relay.Ask(dir, relay.Call{}, nil, nil, nil); asked || err != nil || relay.Served(dir) {
		t.Fatalf("a card left behind: %v, %v", asked, err)
	}
	serve(t, dir, echo)
	if !relay.Served(dir) {
		t.Fatal("not served in place of what was left")
	}
}

func TestOnlyTheOwnerCanReachTheSocket(t *testing.T) {
	for _, dir := range []string{t.TempDir(), filepath.Join(t.TempDir(), strings.Repeat("far/", 40))} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		s := serve(t, dir, echo)
		card, err := relay.ReadCard(dir)
		if err != nil {
			t.Fatal(err)
		}
		for path, want := range map[string]os.FileMode{card.Socket: 0o600, filepath.Dir(card.Socket): 0o700, filepath.Join(dir, "serving.json"): 0o600} {
			info, err := os.Stat(path)
			if err != nil || info.Mode().Perm() != want {
				t.Errorf("%s: %v, %v; want %v", path, info.Mode().Perm(), err, want)
			}
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		for _, path := range []string{card.Socket, filepath.Dir(card.Socket), filepath.Join(dir, "serving.json")} {
			if _, err := os.Stat(path); err == nil {
				t.Errorf("%s is left behind", path)
			}
		}
	}
}

func TestAServerThatEndsSaysThatTheOutcomeIsNotKnown(t *testing.T) {
	dir := t.TempDir()
	began := make(chan struct{})
	s := serve(t, dir, func(ctx context.Context, _ relay.Call, _ io.Reader, _, _ io.Writer) int {
		close(began)
		<-ctx.Done()
		return 0
	})
	asked := make(chan error, 1)
	go func() {
		exit, _, err := relay.Ask(dir, relay.Call{}, nil, io.Discard, io.Discard)
		asked <- errors.Join(err, fmt.Errorf("exit %d", exit))
	}()
	<-began
	if err := s.Close(); err != nil { // waits for the command, so this one still says its end
		t.Error(err)
	}
	if err := <-asked; errors.Is(err, relay.ErrBroken) {
		t.Errorf("the command ended and did not say so: %v", err)
	}
}

func TestACommandThatFallsOverLeavesTheServerUp(t *testing.T) {
	dir := t.TempDir()
	serve(t, dir, func(_ context.Context, c relay.Call, _ io.Reader, out, _ io.Writer) int {
		if c.Args[0] == "fall" {
			panic("on purpose")
		}
		return 0
	})
	for args, want := range map[string]int{"fall": 1, "stand": 0} {
		exit, asked, err := relay.Ask(dir, relay.Call{Args: []string{args}}, nil, io.Discard, io.Discard)
		if err != nil || !asked || exit != want {
			t.Errorf("%s: exit %d, %v, %v", args, exit, asked, err)
		}
	}
}

func TestWhoGoesAwayStopsTheCommand(t *testing.T) {
	dir := t.TempDir()
	ended := make(chan string, 2)
	serve(t, dir, func(ctx context.Context, c relay.Call, _ io.Reader, out, _ io.Writer) int {
		fmt.Fprint(out, "begun")
		<-ctx.Done()
		ended <- c.Args[0]
		return 0
	})
	card, err := relay.ReadCard(dir)
	if err != nil {
		t.Fatal(err)
	}
	lines := map[string]net.Conn{}
	for _, name := range []string{"goes", "stays"} {
		conn, err := net.Dial("unix", card.Socket)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		fmt.Fprintf(conn, `{"args":[%q]}`, name)
		if _, err := conn.Read(make([]byte, 100)); err != nil {
			t.Fatal(err)
		}
		lines[name] = conn
	}
	if err := lines["goes"].Close(); err != nil {
		t.Fatal(err)
	}
	if got := <-ended; got != "goes" {
		t.Errorf("%s was stopped", got)
	}
	fmt.Fprint(lines["stays"], `{"stop":true}`)
	if got := <-ended; got != "stays" {
		t.Errorf("%s was stopped", got)
	}
}
