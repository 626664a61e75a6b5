package web

import (
	"encoding/json"
	"os"
	"runtime"
	"runtime/pprof"
)

// What the page's process holds of the machine, for an owner who wonders whether it
// grows, and for package soak, which watches that it does not. Nothing of the shop is
// in it.

// runningNow is that, in numbers.
type runningNow struct {
	Process    int    `json:"process"`      // its number on this machine
	Goroutines int    `json:"goroutines"`   // all of the process
	Live       uint64 `json:"live_bytes"`   // in use, and what was let go since memory was last gone through
	Memory     uint64 `json:"memory_bytes"` // taken from the system and not given back
}

// running says how much the process holds. With collect in the address its memory is
// gone through first, so that what is of no use any more does not count.
func running(q *request) error {
	if q.asked("collect") != "" {
		runtime.GC()
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b, err := json.MarshalIndent(runningNow{os.Getpid(), runtime.NumGoroutine(), m.HeapAlloc, m.Sys - m.HeapReleased}, "", "  ")
	if err != nil {
		return err
	}
	q.w.Header().Set("Content-Type", "application/json")
	if _, err := q.w.Write(append(b, '\n')); err != nil {
		q.s.opt.Log.Debug("answer not sent", "why", err.Error()) // who asked went away
	}
	return nil
}

// runningWhere says where in the program each goroutine is: what to look at where
// there are more and more of them.
func runningWhere(q *request) error {
	q.w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err := pprof.Lookup("goroutine").WriteTo(q.w, 1); err != nil {
		q.s.opt.Log.Debug("answer not sent", "why", err.Error()) // who asked went away
	}
	return nil
}
