package eventlog

import (
	"errors"
	"runtime"
	"sync"
)

// inShares has n things done in shares, each of few at least and on a goroutine of its
// own, as many as there are processors. A panic of one is the caller's: there it ends
// the handle and not the process.
func inShares(n, few int, do func(from, to int) error) error {
	count := min(runtime.GOMAXPROCS(0), 1+n/few)
	errs, fell := make([]error, count), make([]any, count)
	var shares sync.WaitGroup
	for i := range count {
		shares.Go(func() {
			defer func() { fell[i] = recover() }()
			errs[i] = do(i*n/count, (i+1)*n/count)
		})
	}
	shares.Wait()
	for _, p := range fell {
		if p != nil {
			panic(p)
		}
	}
	return errors.Join(errs...)
}
