package projections

// AskAnew answers a question from all histories, with no tally that is kept.
func AskAnew(r Reader, q Question, a Asked) (*Result, error) {
	t, err := makeTally(r, q, a, func(fn func(*History) (bool, error)) error { return EachHistory(r, fn) })
	if err != nil {
		return nil, err
	}
	res, err := q.answer(t, a)
	if err == nil {
		res.Question, res.AsOf = q.Name, a.AsOf.String()
		res.fill()
	}
	return res, err
}

// Held is whom Customers has in memory, by person; nil where nobody looked yet.
func (c *Customers) Held() (names []Named) {
	if c.list == nil {
		return nil
	}
	names = []Named{}
	for _, n := range c.list.all {
		names = append(names, n.Named)
	}
	return names
}
