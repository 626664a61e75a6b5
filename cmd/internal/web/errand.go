package web

import (
	"sync"
	"sync/atomic"

	"oldhand/cmd/internal/app"
)

// errand is something that takes long and is done beside the pages, one at a time.
// It is no request: a browser that goes away does not end it, and no page waits for
// it. Its zero value is ready.
type errand[T any] struct {
	done, of atomic.Int64 // how far it is, in whatever it counts

	mu      sync.Mutex // over what follows
	running string     // what is being done; empty for nothing
	came    *T         // what came of the last one; nil where it failed, or none was
	failed  error
	ended   string // when the last one ended
}

// begin begins one, unless one is under way.
func (e *errand[T]) begin(what string, ended func() string, fn func(told func(done, of int64)) (T, error)) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.running != "" {
		return &app.NotHere{Unit: "this", Why: "has to wait until what goes on is through: " + e.running}
	}
	e.running, e.came, e.failed = what, nil, nil
	e.done.Store(0)
	e.of.Store(0)
	go func() {
		came, err := fn(func(done, of int64) {
			e.done.Store(done)
			e.of.Store(of)
		})
		e.mu.Lock()
		defer e.mu.Unlock()
		e.running, e.failed, e.ended = "", err, ended()
		if err == nil {
			e.came = &came
		}
	}()
	return nil
}

// errandState is how an errand stands.
type errandState[T any] struct {
	Running  string
	Done, Of int64
	Came     *T
	Failed   error
	Ended    string
}

func (e *errand[T]) stands() errandState[T] {
	e.mu.Lock()
	defer e.mu.Unlock()
	return errandState[T]{e.running, e.done.Load(), e.of.Load(), e.came, e.failed, e.ended}
}
