package figures

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/projections"
)

func BenchmarkZAgain(b *testing.B) {
	story := storyOf(b)
	l, dir := open(b, story, events.BenchKey{})
	check(b, l.DeferViews())
	n := 0
	d := timed(func() { n = take(b, l, told(b, story)) })
	fmt.Println("filled", n, rateOf(n, d))
	for b.Loop() {
		c0 := cpu()
		d := timed(func() { check(b, projections.RebuildStore(l)) })
		c := cpu() - c0
		fmt.Println("rebuilt", rateOf(n, d), d, "cpu us/event", float64(c.Microseconds())/float64(n), size(b, dir)/n)
	}
}

func cpu() time.Duration {
	var r syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &r)
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
