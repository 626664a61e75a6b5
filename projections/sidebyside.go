package projections

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// sideBySide does n things that have nothing to do with each other, on as many
// goroutines as there are processors.
func sideBySide(n int, do func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}
