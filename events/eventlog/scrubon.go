package eventlog

// ScrubPlace is how far a scrub in pieces came: the store's rows before Row are
// walked, and of Row the events up to Seq. It means something in the store that it
// was come to in, and in a copy of it.
type ScrubPlace struct {
	Row uint32 `json:"row"`
	Seq uint64 `json:"seq"`
}

// ScrubOn walks as Scrub does, from a place on and at most so many events, and
// says where it came to; over is whether that is the end. Feeds counts those that
// it came to the head of. What is damaged ends the piece with an error, and next
// is then the row behind, so that the others can be walked all the same.
//
// A view that is held keeps the store from giving up what was overwritten since,
// so a scrub that takes its time takes a view for each piece.
func (v *View) ScrubOn(at ScrubPlace, most uint64) (s Scrubbed, next ScrubPlace, over bool, err error) {
	for next = at; s.Events < most; next = (ScrubPlace{Row: next.Row + 1}) {
		row, ok, err := v.row(feedNo(next.Row))
		if err != nil || !ok {
			return s, next, err == nil, err
		}
		w := stretch{n: feedNo(next.Row), row: row, after: next.Seq, upTo: max(next.Seq, v.log.feeds.base(feedNo(next.Row)).head.Seq) + most - s.Events}
		if w.after >= row.Seq && row.Seq > 0 {
			continue // its end was come to
		}
		seq, err := v.scrubFeed(w, &s, nil)
		if err != nil {
			return s, ScrubPlace{Row: next.Row + 1}, false, err
		}
		if !w.whole() {
			return s, ScrubPlace{next.Row, seq}, false, nil
		}
		s.Feeds++
	}
	return s, next, false, nil
}
