package main

// Opening a shop's folder as each command does: the store, its heads, the witness,
// and whether what follows from the events is as it should be.
func openPart(t *turn) {
	dir := t.copyOf(t.front())
	f := &figure{name: "open a shop's folder", unit: seconds, goal: atMost(1)}
	t.rounds(func() { f.alone(t.openTime(dir)) })
	t.tell(f)
}

func (t *turn) openTime(dir string) float64 {
	var closes func() error
	took := t.timed(func() error {
		closes = t.openShop(dir).Close
		return nil
	})
	t.check(closes())
	return took
}
