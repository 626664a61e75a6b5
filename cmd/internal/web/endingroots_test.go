package web_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/sync/cluster"
)

// Half a year before servers are known no longer the page says so, with what to do
// there; before that it says nothing.
func TestThePageOfServersSaysWhenTheyAreKnownNoLonger(t *testing.T) {
	c := &clock{at: asOf}
	s := newShopAt(t, c.now)
	servers := filepath.Join(t.TempDir(), "servers")
	if _, err := app.NewCluster(servers, "", []string{"one=192.168.1.31", "two=192.168.1.32", "three=192.168.1.33"}, 0, asOf); err != nil {
		t.Fatal(err)
	}
	roots, err := os.ReadFile(filepath.Join(servers, cluster.SignerFile))
	if err != nil {
		t.Fatal(err)
	}
	list, err := json.Marshal([]app.KnownExchange{{Addresses: []string{"192.168.1.31:4222"}, Roots: string(roots)}})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(s.shop.Dir, "exchanges.json"), list, 0o600); err != nil {
		t.Fatal(err)
	}
	end := asOf.Add(cluster.CertLife)
	_, page := s.do(s.request("GET", "/cluster", nil))
	if strings.Contains(page, "Ask who runs them") {
		t.Error("it says so long before")
	}
	c.forward(cluster.CertLife - 100*24*time.Hour)
	_, page = s.do(s.request("GET", "/cluster", nil))
	wants(t, page, "192.168.1.31:4222 until "+end.Format(time.DateOnly)+" only", "Ask who runs them for the renewed ca.pem, and give it below")
}
