package cluster_test

import (
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/cluster"
	"oldhand/sync/exchange"
)

// A shop's list comes from a stranger and its words end up in settings of servers:
// what is taken holds a tag and keys in the one text that each has, and no more.
func FuzzReadBenches(f *testing.F) {
	good := cluster.BenchesOf(exchange.Tag{7}, []events.BenchID{{1}, {2}})
	f.Add(good.Text())
	f.Add(strings.ToUpper(good.Text()))
	f.Add("shop " + good.Shop + "\nbench " + good.Keys[0][:9] + "\r" + good.Keys[0][9:])
	f.Add("shop " + good.Shop + "\nbench " + good.Keys[0] + ", permissions: { publish: \">\" }")
	f.Fuzz(func(t *testing.T, text string) {
		b, err := cluster.ReadBenches(strings.NewReader(text))
		if err != nil {
			return
		}
		for _, word := range append(b.Keys, b.Shop) {
			if strings.Trim(word, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ234567") != "" {
				t.Fatalf("%q was taken", word)
			}
		}
		again, err := cluster.ReadBenches(strings.NewReader(b.Text()))
		if err != nil || again.Text() != b.Text() {
			t.Fatalf("%q reads back as %+v, %v", b.Text(), again, err)
		}
	})
}
