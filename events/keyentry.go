package events

// ForgetOrder is an owner's signature over ForgetStatement.
type ForgetOrder [signatureSize]byte

// KeyEntry is what a bench's keyring has of a person: the key, or in its place
// the owner's order to forget the person. With neither it says nothing.
type KeyEntry struct {
	Person PersonID
	Key    PersonKey
	Order  ForgetOrder
}

// Forgotten reports whether the person is to stay forgotten.
func (e KeyEntry) Forgotten() bool { return e.Order != ForgetOrder{} }

// IsNothing reports whether there is neither a key nor an order.
func (e KeyEntry) IsNothing() bool { return e.Key == PersonKey{} && !e.Forgotten() }

// Opens reports whether the key opens any of what is recorded of the person.
func (e KeyEntry) Opens(recorded []Event) bool {
	for _, ev := range recorded {
		if ev.Kind != KindPersonRecorded || PersonID(ev.About) != e.Person {
			continue
		}
		body, err := ev.Body()
		if rec, ok := body.(PersonRecorded); err == nil && ok {
			if _, err := rec.Open(e.Person, e.Key); err == nil {
				return true
			}
		}
	}
	return false
}

// Forget makes an owner's order to forget a person.
func (k BenchKey) Forget(shop ShopID, p PersonID) (o ForgetOrder, err error) {
	sig, err := k.sign(ForgetStatement(shop, p))
	copy(o[:], sig)
	return o, err
}
