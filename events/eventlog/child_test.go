package eventlog_test

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// The test binary starts itself to have another process on a folder. What the
// child does and where stands in childVar as "verb folder".

// child starts the test binary as a child and gives its output.
func child(t *testing.T, verb, folder string) (*exec.Cmd, io.Reader) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), childVar+"="+verb+" "+folder)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var complaints strings.Builder
	cmd.Stderr = &complaints
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if t.Failed() && complaints.Len() > 0 {
			t.Logf("child said: %.2000s", complaints.String())
		}
	})
	return cmd, out
}

// childBench is the bench that children write as.
func childBench(t testing.TB) *eventstest.Bench {
	b := eventstest.FoundShop(t, 50).Bench(t, 1)
	b.Random = eventstest.Seeded(uint64(time.Now().UnixNano())) // each life draws its own names
	return b
}

func runChild(what string) int {
	verb, folder, _ := strings.Cut(what, " ")
	t := new(childTB)
	if verb == "read" {
		if err := takeRoom(folder); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	o := childBench(t).InFolder(folder)
	if verb == "append" {
		o = eventlog.Tiny(o)
	}
	l, err := eventlog.Open(o)
	if verb == "open" {
		fmt.Println(outcome(err))
		return 0
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	switch verb {
	case "append":
		return appendForEver(l)
	case "fill":
		return fillDisk(l)
	case "read":
		return readOnFullDisk(l)
	}
	return 2
}

// childTB lets builders run outside of a test; they fail by panicking.
type childTB struct{ testing.TB }

func (*childTB) Helper()           {}
func (*childTB) Fatal(args ...any) { panic(fmt.Sprint(args...)) }
func outcome(err error) (word string) {
	switch {
	case err == nil:
		return "opened"
	case errors.Is(err, eventlog.ErrInUse):
		return "in use"
	}
	return err.Error()
}

// appendForEver saves actions and says which, until it is killed.
func appendForEver(l *eventlog.Log) int {
	run := time.Now().UnixNano()
	for i := 0; ; i++ {
		var a acks
		if err := a.save(l, long(fmt.Sprintf("r%d-%d", run, i))); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		say(a.made[0].ids)
	}
}

// say prints the ids of an action that was saved.
func say(ids []events.EventID) {
	words := make([]string, 0, len(ids))
	for _, id := range ids {
		words = append(words, id.String())
	}
	fmt.Println(strings.Join(words, " "))
}

// ackedBy reads what a child said was saved; half a line was not said.
func ackedBy(t *testing.T, r io.Reader) (acked []action) {
	t.Helper()
	in := bufio.NewReader(r)
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			return acked
		}
		var a action
		for _, s := range strings.Fields(line) {
			var id events.EventID
			if err := id.UnmarshalText([]byte(s)); err != nil {
				t.Fatalf("child said %q: %v", line, err)
			}
			a.ids = append(a.ids, id)
		}
		acked = append(acked, a)
	}
}

// A process is killed while it writes, at random moments, again and again.
func TestF01_KilledProcess_P1_P3(t *testing.T) {
	rounds := 12
	if testing.Short() {
		rounds = 3
	}
	folder := t.TempDir()
	rng := rand.New(rand.NewPCG(51, 1))
	var acked []action
	for round := 0; round < rounds || len(acked) < rounds && round < 20*rounds; round++ {
		cmd, out := child(t, "append", folder)
		later := time.Duration(1 + round/rounds) // a busy machine takes longer to begin
		time.AfterFunc(later*time.Duration(20+rng.IntN(150))*time.Millisecond, func() { _ = cmd.Process.Kill() })
		acked = append(acked, ackedBy(t, out)...)
		_ = cmd.Wait() // it was killed: that is its error
		l, err := eventlog.Open(eventlog.Tiny(childBench(t).InFolder(folder)))
		if err != nil {
			t.Fatalf("round %d: open after the kill: %v", round, err)
		}
		if lost := l.Found().LostTail; lost != nil {
			t.Errorf("round %d: %v", round, lost)
		}
		if err := sound(l, acked); err != nil {
			t.Fatalf("round %d, %d actions acked: %v", round, len(acked), err)
		}
		closeLog(t, l)
	}
	if len(acked) < rounds {
		t.Fatalf("only %d actions were acked in %d rounds", len(acked), rounds)
	}
	t.Logf("%d actions acked", len(acked))
}

func TestF09_SecondOpeningIsRefused(t *testing.T) {
	l, b, folder := eventstest.InTemp(t, 50)
	eventstest.SaveVisit(t, l)
	for _, readOnly := range []bool{false, true} {
		o := b.InFolder(folder)
		o.ReadOnly = readOnly
		_, err := eventlog.Open(o)
		wantErr(t, err, eventlog.ErrInUse)
	}
	cmd, out := child(t, "open", folder)
	said, err := io.ReadAll(out)
	if err != nil || strings.TrimSpace(string(said)) != "in use" {
		t.Fatalf("another process: %q (%v)", said, err)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	if n := len(eventstest.All(t, eventstest.Open(t, b.InFolder(folder)))); n != 13 {
		t.Fatalf("%d events, want 13", n)
	}
}

func TestF09_SecondOpeningInMemoryIsRefused(t *testing.T) {
	_, b, fs := eventstest.OnMem(t, 51)
	_, err := eventlog.Open(b.Options(fs, "log"))
	wantErr(t, err, eventlog.ErrInUse)
}
