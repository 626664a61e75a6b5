package app_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/sync/cluster"
)

// knowsServers has a bench know the servers of a cluster made on a day, and gives the
// cluster's folder.
func knowsServers(t *testing.T, s *app.Shop, made time.Time) (servers string) {
	t.Helper()
	servers = filepath.Join(t.TempDir(), "servers")
	typed := []string{"one=192.168.1.31", "two=192.168.1.32", "three=192.168.1.33"}
	if _, err := app.NewCluster(servers, "", typed, 0, made); err != nil {
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
	if err := os.WriteFile(filepath.Join(s.Dir, "exchanges.json"), list, 0o600); err != nil {
		t.Fatal(err)
	}
	return servers
}

// A bench that knows somebody's servers by what ends soon says so in good time, and
// says nothing of it before.
func TestABenchSaysWhenTheServersItKnowsAreKnownNoLonger(t *testing.T) {
	s := newShop(t)
	servers := knowsServers(t, s, asOf)
	end := asOf.Add(cluster.CertLife)
	for before, want := range map[time.Duration]bool{200 * 24 * time.Hour: false, 170 * 24 * time.Hour: true, -24 * time.Hour: true} {
		says, err := app.EndingRoots(s.Dir, end.Add(-before))
		if err != nil || (len(says) == 1 && strings.Contains(says[0], end.Format(time.DateOnly))) != want {
			t.Errorf("%v before the end it says %q (%v)", before, says, err)
		}
	}

	late := end.Add(-30 * 24 * time.Hour)
	looked, err := app.RenewCluster(servers, true, late)
	if err != nil || len(looked.Ends) != 4 || !looked.Ends[0].Soon {
		t.Errorf("looking at them gives %+v (%v)", looked.Ends, err)
	}
	renewed, err := app.RenewCluster(servers, false, late)
	if err != nil || renewed.Until != late.Add(cluster.CertLife).Format(time.DateOnly) || slices.ContainsFunc(renewed.Ends, func(e app.ClusterEnd) bool { return e.Soon }) {
		t.Errorf("renewing them gives %+v (%v)", renewed.Ends, err)
	}
}

// Doctor has the servers among what is to be done.
func TestDoctorSaysWhenServersAreKnownNoLonger(t *testing.T) {
	s := newShop(t)
	knowsServers(t, s, asOf.AddDate(-10, 1, 0))
	c, err := s.Doctor(app.Looking{})
	if err != nil || c.OK || !slices.ContainsFunc(c.Findings, func(f app.Finding) bool {
		return f.About == "servers" && !f.OK && strings.Contains(f.Do, "oldhand cluster meet ADDRESS --ca ca.pem")
	}) {
		t.Errorf("it finds %+v (%v)", c.Findings, err)
	}
}
