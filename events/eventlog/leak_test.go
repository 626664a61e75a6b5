package eventlog_test

import (
	"runtime"
	"strings"
	"testing"
	"time"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// ours counts the goroutines that run or wait in this package's code.
func ours() (n int, stacks string) {
	buf := make([]byte, 1<<20)
	buf = buf[:runtime.Stack(buf, true)]
	for g := range strings.SplitSeq(string(buf), "\n\n") {
		if strings.Contains(g, "oldhand/events/eventlog.") {
			n++
			stacks += g + "\n\n"
		}
	}
	return n, stacks
}

// Logs that died in other tests keep goroutines on purpose, so the count of
// before is what it must come back to.
func TestCloseLeavesNoGoroutine(t *testing.T) {
	before, _ := ours()
	for seed := range uint64(3) {
		l, b, disk := eventstest.OnMem(t, 140+seed)
		eventstest.SaveVisit(t, l)
		if _, err := eventlog.Open(b.Options(disk, "log")); err == nil {
			t.Fatal("opened twice")
		}
		v, err := l.View()
		if err != nil {
			t.Fatal(err)
		}
		eventstest.SaveVisit(t, l)
		if err := l.Rewrite("v1", countAgain); err != nil {
			t.Fatal(err)
		}
		v.Close()
		closeLog(t, l)
		closeLog(t, eventstest.Open(t, b.Options(disk, "log"))) // the lock was given back
	}
	for range 200 { // the last ones need a moment to end
		if n, _ := ours(); n <= before {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	n, stacks := ours()
	t.Errorf("%d goroutines of the log are left, %d were there before:\n%s", n, before, stacks)
}
