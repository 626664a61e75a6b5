package replicate

import (
	"oldhand/events"
	"oldhand/sync/roster"
)

// Unsaid are an owner's words that are here in nothing but what is kept aside.
// What is aside goes to nobody, so a word in it would be heeded on this bench and
// unknown on others (P12): whoever runs the bench writes it into the log again. A
// word counts by its signature, whoever carries it.
func (in *Inbox) Unsaid() ([]events.Body, error) {
	if len(in.aside.said) == 0 {
		return nil, nil
	}
	facts, err := in.log.Facts()
	if err != nil {
		return nil, err
	}
	book := roster.NewBook(in.shop)
	book.AddBodies(in.told...)
	book.Add(facts...)
	return in.book.Beyond(book), nil
}
