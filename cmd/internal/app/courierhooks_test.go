package app

import (
	"context"

	"oldhand/sync/exchange"
	"oldhand/sync/meet"
)

// CourierEvery is how often a courier asks whether there is anything new for it.
const CourierEvery = courierEvery

// Errand is what a meeting left to do of photos and recordings.
func (m Met) Errand() meet.Errand { return m.errand }

// SendingCourier sends a courier as a program beside the bench's work does, whenever
// send is called; stop ends it.
func SendingCourier(r *Reached, dial func(context.Context) (*Reached, error)) (send func(meet.Errand), stop func()) {
	c := &courier{note: func(string) {}}
	r.again = func(ctx context.Context) (*exchange.Exchange, error) {
		r, err := dial(ctx)
		if err != nil {
			return nil, err
		}
		return r.x, nil
	}
	return func(e meet.Errand) { c.send(r, e) }, c.stop
}
