package demo

// due is somebody who has something to write at a moment. Of two due at one
// moment, the one who was asked first goes first.
type due struct {
	at  moment
	n   uint64
	who actor
}

// actor writes one action, and asks to be called again if there is more.
type actor interface{ act(t *teller, at moment) }

// queue is a heap of what is due, the earliest in front. It is the memory of a
// story: units on the benches and units that will come again.
type queue struct {
	heap  []due
	asked uint64
}

func (q *queue) ask(at moment, who actor) {
	q.asked++
	q.heap = append(q.heap, due{at, q.asked, who})
	for i := len(q.heap) - 1; i > 0; {
		up := (i - 1) / 2
		if !q.heap[i].before(q.heap[up]) {
			return
		}
		q.heap[i], q.heap[up] = q.heap[up], q.heap[i]
		i = up
	}
}

func (q *queue) next() (due, bool) {
	if len(q.heap) == 0 {
		return due{}, false
	}
	first, last := q.heap[0], len(q.heap)-1
	q.heap[0] = q.heap[last]
	q.heap[last] = due{}
	q.heap = q.heap[:last]
	q.sink()
	return first, true
}

func (q *queue) sink() {
	for i := 0; ; {
		least := i
		for c := 2*i + 1; c <= 2*i+2 && c < len(q.heap); c++ {
			if q.heap[c].before(q.heap[least]) {
				least = c
			}
		}
		if least == i {
			return
		}
		q.heap[i], q.heap[least] = q.heap[least], q.heap[i]
		i = least
	}
}

func (d due) before(o due) bool { return d.at < o.at || d.at == o.at && d.n < o.n }
