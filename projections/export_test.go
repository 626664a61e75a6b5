package projections

// AskAnew answers a question from the histories, with no tally that is kept.
func AskAnew(r Reader, q Question, a Asked) (*Result, error) {
	t, err := makeTally(r, q, a)
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
