package app

import (
	"sync"
	"time"

	"oldhand/projections"
)

// offered is a list that forms and pages offer and that stands among all that is
// said of the shop: one begun feed a day and bench for a start. Reading it for each
// form would be slower the older the shop is, so it is kept for a while; what is
// typed is looked up afresh when it is saved.
type offered[T any] struct {
	read func(projections.Reader) ([]T, error)

	mu   sync.Mutex
	at   time.Time // when it was read; zero for never
	list []T
}

const offeredFor = time.Minute

func (o *offered[T]) of(r projections.Reader, now time.Time) ([]T, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.at.IsZero() && now.Sub(o.at) < offeredFor {
		return o.list, nil
	}
	list, err := o.read(r)
	if err == nil {
		o.list, o.at = list, now
	}
	return list, err
}

func (o *offered[T]) forget() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.at = time.Time{}
}
