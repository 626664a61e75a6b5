package app

import (
	"context"
	"testing"
	"time"

	"oldhand/sync/nearby"
)

func TestABenchThatWatchesLooksAroundSeldom(t *testing.T) {
	now, asks := time.Unix(1_700_000_000, 0), 0
	look := seldom(func(context.Context, nearby.Want) ([]nearby.Found, error) {
		asks++
		return make([]nearby.Found, 1), nil
	}, time.Minute, func() time.Time { return now })
	for _, step := range []struct{ seconds, found, asks int }{{0, 1, 1}, {59, 0, 1}, {60, 1, 2}, {119, 0, 2}, {500, 1, 3}} {
		now = time.Unix(1_700_000_000+int64(step.seconds), 0)
		list, err := look(t.Context(), nearby.Want{})
		if err != nil || len(list) != step.found || asks != step.asks {
			t.Errorf("after %d s: found %d, asked %d times, %v; want %d and %d", step.seconds, len(list), asks, err, step.found, step.asks)
		}
	}
	if list, err := seldom(nil, time.Minute, time.Now)(t.Context(), nearby.Want{}); list != nil || err != nil {
		t.Errorf("without a looker: %v, %v", list, err)
	}
}
