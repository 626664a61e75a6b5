package exchange

import "oldhand/events"

// mostRefused is how many refused logins wait to be told of. Who guesses at a join
// code logs in with keys that nobody let in: that somebody does is seen by fewer.
const mostRefused = 256

// tellOfRefused tells of refused logins until the host is closed.
func (h *Host) tellOfRefused(refused <-chan events.BenchID) {
	defer close(h.refusedDone)
	for {
		select {
		case <-h.quit:
			return
		case login := <-refused:
			h.opt.OnRefused(login)
		}
	}
}
