package cluster_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
)

// answer is what the servers' API said in place of doing what was asked.
func answer(t testing.TB, conn *nats.Conn, subject string, request any) (refusal string) {
	t.Helper()
	b, err := json.Marshal(request)
	check(t, err)
	m, err := conn.Request(subject, b, 20*time.Second)
	check(t, err)
	var said struct {
		Error struct {
			Description string `json:"description"`
		} `json:"error"`
	}
	check(t, json.Unmarshal(m.Data, &said))
	return said.Error.Description
}

// A shop with a key of its own in hand takes no more of the servers than its part:
// readings, connections, nothing in memory.
func TestAShopTakesNoMoreThanItsPart(t *testing.T) {
	f := newShop(t, 1, 1)
	s := newSite(t, []*shop{f}, 64<<20, "")
	s.awaitReady(t)
	conn := s.raw(t, f.keys[0])
	stream := streams(f)[0]
	subject := "oldhand." + f.tag.String() + ".feed.*"
	create := "$JS.API.STREAM.CREATE." + stream
	made := map[string]any{"name": stream, "subjects": []string{subject}, "storage": "memory", "retention": "limits", "discard": "new", "num_replicas": 1}
	refused := ""
	eventually(t, "the servers' leader answers", func() bool {
		refused = answer(t, conn, create, made)
		return refused != "JetStream system temporarily unavailable"
	})
	if refused == "" {
		t.Error("a stream is made in memory")
	}
	made["storage"], made["num_replicas"] = "file", 3
	if said := answer(t, conn, create, made); said != "" {
		t.Fatalf("the shop's stream is not made: %s", said)
	}
	readings := 0
	for n := range 60 {
		said := answer(t, conn, fmt.Sprintf("$JS.API.CONSUMER.CREATE.%s.r%d", stream, n), map[string]any{"stream_name": stream,
			"config": map[string]any{"name": fmt.Sprintf("r%d", n), "ack_policy": "none", "deliver_policy": "all", "replay_policy": "instant", "num_replicas": 1, "mem_storage": true}})
		if said != "" {
			t.Logf("reading %d: %s", n+1, said)
			break
		}
		readings++
	}
	if readings < 8 || readings > 32 {
		t.Errorf("%d readings at once, want 32 at most and some", readings)
	}
	id, connections := f.ids[0], 1
	for range 20 {
		c, err := nats.Connect("tls://"+s.plan.Addresses()[0], nats.Nkey(id.LoginName(), f.keys[0].SignLogin), nats.RootCAs(s.dir+"/ca.pem"), nats.NoReconnect())
		if err != nil {
			t.Logf("connection %d: %v", connections+1, err)
			break
		}
		defer c.Close()
		connections++
	}
	if connections > 10 {
		t.Errorf("one bench has %d connections, want about 8 at most", connections)
	}
}
