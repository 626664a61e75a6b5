package app

import (
	"oldhand/cmd/internal/demo"
	"oldhand/events"
)

// storyHeads signs a story's feeds as its benches would have: often enough for
// every run between two signed heads to be passed on as one segment.
type storyHeads struct {
	shop events.ShopID
	keys map[events.BenchID]events.BenchKey
	runs map[events.FeedID]*storyRun
}

// storyRun is what came of a feed since it was signed.
type storyRun struct {
	events, bytes int
	end           events.Head
}

func newStoryHeads(shop events.ShopID, story *demo.Story) (*storyHeads, error) {
	h := &storyHeads{shop: shop, keys: map[events.BenchID]events.BenchKey{}, runs: map[events.FeedID]*storyRun{}}
	for _, b := range story.Benches() {
		id, err := b.Key.Public()
		if err != nil {
			return nil, err
		}
		h.keys[id] = b.Key
	}
	return h, nil
}

// of gives the signed heads within some events that follow those before, each
// at the end of a whole run. The last heads of all feeds are the story's to give.
func (h *storyHeads) of(evs []events.Event) (list []events.SignedHead, err error) {
	for _, e := range evs {
		r := h.runs[e.Feed]
		if r == nil {
			r = &storyRun{}
			h.runs[e.Feed] = r
		}
		if r.events > 0 && (r.events == events.MaxRun || r.bytes+len(e.Record) > events.MaxRunBytes) {
			s, err := h.keys[e.Feed.Bench].SignHead(h.shop, r.end)
			if err != nil {
				return nil, err
			}
			list = append(list, s)
			r.events, r.bytes = 0, 0
		}
		r.events, r.bytes, r.end = r.events+1, r.bytes+len(e.Record), e.Head()
	}
	return list, nil
}
