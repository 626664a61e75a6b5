package meet

import (
	"context"
	"errors"
	"time"
)

// surveyTime is how long a survey may take before the meeting goes on without
// it: over a slow line a bench nearer to the exchange does it sooner.
const surveyTime = 30 * time.Second

// surveyed sees to it that the bench knows which messages the exchange lacks, as
// of a day ago at most (F21). An exchange that can't tell is met all the same.
func (m *meeting) surveyed(ctx context.Context, epoch string) error {
	at, err := m.b.SurveyedAt(epoch)
	if err != nil {
		return err
	}
	if age := time.Since(at); age >= 0 && age < m.o.Survey {
		m.survey = time.After(m.o.Survey - age)
		return nil
	}
	m.survey = time.After(m.o.Survey)
	timed, cancel := context.WithTimeout(ctx, surveyTime)
	defer cancel()
	lacking, err := m.x.Survey(timed)
	switch {
	case err == nil:
		return m.b.Surveyed(epoch, lacking.Sum, time.Now())
	case errors.Is(err, context.Canceled):
		return ctx.Err()
	}
	return nil // where it does not answer at all, that is met next
}
