package replicate

import (
	"oldhand/events"
	"oldhand/sync/roster"
)

// keySet is where in a feed a key of the shop was first set.
type keySet struct {
	seq   uint64
	epoch uint32
}

// keySetsOf are the places in each feed where the first statement of an epoch
// stands.
func keySetsOf(facts []events.Event) map[events.FeedID][]keySet {
	first := map[events.FeedID]map[uint32]uint64{}
	for _, e := range facts {
		if e.Kind != events.KindShopKeySet {
			continue
		}
		body, err := e.Body()
		set, ok := body.(events.ShopKeySet)
		if err != nil || !ok {
			continue
		}
		if first[e.Feed] == nil {
			first[e.Feed] = map[uint32]uint64{}
		}
		if seq, known := first[e.Feed][set.Epoch]; !known || e.Seq < seq {
			first[e.Feed][set.Epoch] = e.Seq
		}
	}
	sets := map[events.FeedID][]keySet{}
	for f, epochs := range first {
		for epoch, seq := range epochs {
			sets[f] = append(sets[f], keySet{seq, epoch})
		}
	}
	return sets
}

// sealing is the key that seals a run of a feed behind a number. What leads up to
// a new key, and the statement itself, must be readable by who does not have that
// key yet: it is sealed with the key before. The first key comes with the answer
// to joining.
func (in *Inbox) sealing(f events.FeedID, after uint64) (roster.Key, bool) {
	key, ok := in.ring.Sealing()
	for _, s := range in.keySets[f] {
		if s.seq > after && s.epoch > 1 && s.epoch <= key.Epoch {
			if before := in.ring.Of(s.epoch - 1); len(before) > 0 {
				key = before[0]
			}
		}
	}
	return key, ok
}
