package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

func TestTheLookupFindsByWhateverIsAtHand(t *testing.T) {
	s := newShop(t)
	res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", Complaint: "hums"},
		Customer: events.Personal{Name: "Odile Marchbanks", City: "Holmby"}})
	if err != nil {
		t.Fatal(err)
	}
	receive(t, s, "B90-55354")
	for what, query := range map[string]string{"tag": res.Tag, "serial": "e17 17750", "piece of the serial": "17750", "two digits swapped": "E17-17570",
		"model": "r-950", "maker": "Ostrel", "customer": "marchbanks"} {
		wants(t, s.get("/find/list?q="+url.QueryEscape(query)), `href="/unit/`+res.Tag+`"`)
		if t.Failed() {
			t.Fatalf("by its %s, %s", what, query)
		}
	}
	wants(t, s.get("/find?q=nothing-like-it"), "Nothing is like")
	if list := s.get("/find/list?q="); strings.TrimSpace(list) != "" {
		t.Errorf("nothing typed lists %q", list)
	}
}

func TestWhatNamesOneUnitToTheLetterLeadsToIt(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	receive(t, s, "E17-17751")
	for query, leads := range map[string]bool{tag: true, "E17-17750": true, "E17-1775": false, "Ostrel": false, "E17-17752": false} {
		res, err := s.http.Do(s.request(http.MethodGet, "/find?q="+query, nil))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if got := res.Request.URL.Path == "/unit/"+tag; got != leads {
			t.Errorf("%s leads to %s", query, res.Request.URL)
		}
	}
}

func TestAUnitThatIsNotThereIsSaidSoWithTheLikelyOnes(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	slip := tag[:len(tag)-1] + string('0'+(tag[len(tag)-1]-'0'+1)%10)
	status, body := s.do(s.request(http.MethodGet, "/unit/"+slip, nil))
	if status != http.StatusNotFound {
		t.Errorf("status %d", status)
	}
	wants(t, body, "Which unit?", `href="/unit/`+tag+`"`)
}
