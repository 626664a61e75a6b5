package demo

import "testing"

// BenchmarkStory tells 100 000 units, about one and a half million events. The
// figure to look at is events/s on one core (-cpu 1).
func BenchmarkStory(b *testing.B) {
	told := 0
	for b.Loop() {
		s, err := New(Options{Seed: 1, Units: 100_000})
		if err != nil {
			b.Fatal(err)
		}
		for a, err := range s.Actions() {
			if err != nil {
				b.Fatal(err)
			}
			told += len(a.Events)
		}
	}
	b.ReportMetric(float64(told)/b.Elapsed().Seconds(), "events/s")
}
