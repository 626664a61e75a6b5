package web_test

import (
	"bufio"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/web"
	"oldhand/events"
)

// The row of the security table that is about other devices: off by default, a code
// of its own for each, TLS, rights, revocable, a limit of wrong tries.

func TestThePageIsOnNoNetworkUntilTheOwnerTurnsThatOn(t *testing.T) {
	s := newShop(t)
	wants(t, s.get("/phones"), "The page is shown on this machine only", "Turn it on first")
	if st := s.web.Lan().State(); st.On || st.Address != "" {
		t.Errorf("state %+v", st)
	}
	_, port, _ := net.SplitHostPort(strings.TrimSuffix(strings.TrimPrefix(s.web.Address(), "http://"), "/"))
	for _, own := range app.LanAddresses() {
		if c, err := net.DialTimeout("tcp", net.JoinHostPort(own, port), time.Second); err == nil {
			c.Close()
			t.Errorf("the page answers at %s", own)
		}
	}
	for _, address := range []string{"0.0.0.0:4751", "[::]:4751", "8.8.8.8", "203.0.113.7:4751", "front.home.arpa", "192.168.1.20:70000", ""} {
		if status, _ := s.tries("/phones", "on", url.Values{"address": {address}}); status != http.StatusUnprocessableEntity {
			t.Errorf("%q: status %d", address, status)
		}
	}
	for _, name := range []string{"a b/c", "evil.example:4751", "-x", "10.0.0.1", "*"} {
		if err := s.web.Lan().On("127.0.0.1:0", []string{name}); err == nil {
			t.Errorf("it answers to the name %q", name)
		}
	}
	if s.web.Lan().State().On {
		t.Error("it is on")
	}
}

// The laptop is not in the shop's network today: that is said, and all else works.
func TestAnAddressThatThisMachineDoesNotHaveIsSaidAndEndsNothing(t *testing.T) {
	founded := newShop(t)
	founded.end()
	s := serveWith(t, founded.dir, web.Options{Lan: "10.254.253.252:4751"}) // nobody's, as a rule
	wants(t, s.get("/phones"), "It is to be shown there and is not", "10.254.253.252:4751", "This goes on trying")
	wants(t, s.get("/benches"), "is to be shown on the local network and is not")
	wants(t, s.does("/phones", "off", nil), "The page is shown on this machine only")
	onLan(t, s)
}

func TestADeviceWithoutACodeIsLetInNowhere(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	p := newPhone(t, s)
	start := must(url.Parse(s.web.Start())).Query().Get("token")
	cookies := []*http.Cookie{nil, {Name: "__Host-oldhand-device", Value: "guess"}, {Name: "__Host-oldhand-device", Value: ""}}
	for _, c := range s.http.Jar.Cookies(must(url.Parse(s.web.Address()))) { // the laptop's own browser's is good for nothing here
		cookies = append(cookies, c, &http.Cookie{Name: "__Host-oldhand-device", Value: c.Value})
	}
	now := 0
	for _, c := range cookies {
		for _, at := range []string{"/", "/find?q=1", "/unit/10019", "/live", "/benches", "/phones", "/nowhere", "/start?token=" + start, "/enter", "/enter?code="} {
			if now++; c != nil && c.Name != "oldhand" && at != "/" {
				continue // wrong guesses are limited: a test of its own
			}
			r := p.request(http.MethodGet, at, nil)
			if c != nil {
				r.AddCookie(c)
			}
			res, body := p.do(r)
			if res.StatusCode != http.StatusUnauthorized || strings.Contains(body, "Lantern") {
				t.Errorf("%s with %v: status %d: %.300s", at, c, res.StatusCode, body)
			}
			for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Cache-Control": "no-store", "Access-Control-Allow-Origin": ""} {
				if got := res.Header.Get(name); got != want {
					t.Errorf("%s: %s is %q", at, name, got)
				}
			}
		}
	}
	if status, _ := s.do(s.request(http.MethodGet, "/enter?code="+codeOf(t, s, "Ana's phone", nil), nil)); status != http.StatusNotFound {
		t.Errorf("the laptop's own page lets in with a device's code: status %d", status)
	}
}

// Whoever reaches the port has said nothing of who they are. HTTP/2 is not spoken
// there, whatever they offer (RFC 7301: the server chooses).
func TestTheDoorToTheNetworkSpeaksTheOlderProtocolOnly(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	roots := x509.NewCertPool()
	roots.AddCert(certificate(t, s.dir))
	for _, offered := range [][]string{{"h2", "http/1.1"}, {"http/1.1"}, {"h2"}, nil} {
		c, err := tls.Dial("tcp", s.web.Lan().State().Address, &tls.Config{RootCAs: roots, NextProtos: offered, Time: func() time.Time { return asOf }})
		if err != nil {
			continue // nothing offered that it speaks
		}
		if got := c.ConnectionState().NegotiatedProtocol; got == "h2" {
			t.Errorf("%v is offered: it speaks %q", offered, got)
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
	p := newPhone(t, s)
	if res, _ := p.do(p.request(http.MethodGet, "/", nil)); res.ProtoMajor != 1 {
		t.Errorf("a device is answered by %s", res.Proto)
	}
}

func TestADeviceDoesWhatItsRightsAllowAndNothingElse(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	reads, writes := letIn(t, s, "Ana's phone", nil), letIn(t, s, "tablet", url.Values{"rights": {"write"}})
	before := commits(t, s.shop)
	state := s.web.Lan().State()
	for _, room := range web.Rooms() {
		if room.At == "/live" {
			continue // it goes on
		}
		for p, name := range map[*phone]string{reads: "read", writes: "write"} {
			var form url.Values
			if room.Method == http.MethodPost {
				form = url.Values{"name": {"x"}, "address": {"127.0.0.1:0"}, "device": {state.Devices[0].ID}}
			}
			res, body := p.do(p.request(room.Method, path(room.At), form))
			forbidden := room.Own || name == "read" && (room.Method != http.MethodGet && !room.Looks || room.At == "/file/{content}") // names may stand on a photo
			if (res.StatusCode == http.StatusForbidden) != forbidden {
				t.Errorf("%s: %s %s: status %d: %.300s", name, room.Method, room.At, res.StatusCode, body)
			}
		}
	}
	for _, method := range []string{http.MethodPut, http.MethodDelete, http.MethodPatch} {
		if res, _ := reads.do(reads.request(method, "/", url.Values{})); res.StatusCode != http.StatusForbidden {
			t.Errorf("%s: status %d", method, res.StatusCode)
		}
	}
	if after := commits(t, s.shop); after != before {
		t.Errorf("%d actions were written", after-before)
	}
	if after := s.web.Lan().State(); len(after.Devices) != 2 || !after.On {
		t.Errorf("state %+v", after)
	}
	_, page := reads.get("/benches")
	if strings.Contains(page, `href="/benches/retire`) || strings.Contains(page, "oldhand sync ") || strings.Contains(page, "/phones") {
		t.Errorf("Benches shows a device what is the laptop's: %.3000s", page)
	}
	wants(t, page, `<body class="reading">`, "Ana&#39;s phone looks only, customers&#39; names hidden")
}

func TestADeviceThatMayWriteSettlesAConflict(t *testing.T) {
	s := copyOfInvented(t)
	onLan(t, s)
	p := letIn(t, s, "tablet", url.Values{"rights": {"write"}})
	_, page := p.get("/benches")
	_, rest, _ := strings.Cut(page, `<form id="settle-`)
	id, rest, _ := strings.Cut(rest, `"`)
	at, values := formIn(t, page, "settle-"+id)
	keep, _, _ := strings.Cut(strings.Split(rest, `name="keep" value="`)[1], `"`)
	values.Set("keep", keep)
	if status, body := p.post(at, values); status != http.StatusSeeOther {
		t.Fatalf("status %d: %.1000s", status, body)
	}
	if strings.Contains(s.get("/benches"), "settle-"+id) {
		t.Error("it is still there")
	}
}

func TestADeviceThatMayOnlyLookIsNotShownWhatCustomersAreCalled(t *testing.T) {
	s := newShop(t)
	res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", Complaint: "hums"},
		Customer: events.Personal{Name: "Odile Marchbanks", Phone: "555 0142", City: "Holmby"}})
	if err != nil {
		t.Fatal(err)
	}
	onLan(t, s)
	hidden := letIn(t, s, "Ana's phone", nil)
	shown := []*phone{letIn(t, s, "counter", url.Values{"rights": {"read"}, "customers": {"yes"}}), letIn(t, s, "tablet", url.Values{"rights": {"write"}})}
	for _, room := range web.Rooms() {
		if room.Method != http.MethodGet || room.At == "/live" {
			continue
		}
		at := strings.ReplaceAll(room.At, "{unit}", res.Tag)
		_, body := hidden.get(path(at) + "?q=marchbanks&maker=Ostrel&model=R-950")
		for _, personal := range []string{"Odile", "555 0142", "Holmby"} {
			if strings.Contains(body, personal) {
				t.Errorf("%s shows %s", room.At, personal)
			}
		}
		if strings.HasPrefix(at, "/find") && strings.Contains(body, res.Tag) {
			t.Errorf("%s finds a unit by its customer's name", room.At)
		}
	}
	if status, page := s.attaches(res.Tag, nil, named{"label.jpg", snapshot(t, "", 40, 30)}); status != http.StatusOK {
		t.Fatalf("status %d: %.1000s", status, page)
	}
	kept := must(s.shop.Evidence(res.Tag))[0].Content
	if status, _ := hidden.get("/file/" + kept + "?form=thumb"); status != http.StatusForbidden {
		t.Errorf("a photo, on which a name may stand: status %d", status)
	}
	for _, p := range shown {
		if status, _ := p.get("/file/" + kept + "?form=thumb"); status != http.StatusOK {
			t.Errorf("a photo on a device that sees names: status %d", status)
		}
		if _, body := p.get("/find/list?q=marchbanks"); !strings.Contains(body, res.Tag) {
			t.Errorf("a device that sees names finds nobody: %.500s", body)
		}
	}
	veiled, err := s.shop.Veiled().PastOf(res.Tag)
	if err != nil || veiled.Visits[0].Customer != app.NameSealed {
		t.Errorf("veiled: %+v, %v", veiled.Visits, err)
	}
	clear, err := s.shop.PastOf(res.Tag)
	if err != nil || clear.Visits[0].Customer != "Odile Marchbanks" {
		t.Errorf("not veiled: %+v, %v", clear.Visits, err)
	}
}

func TestRightsThatAreTakenAwayEndWhatIsOpenAtOnce(t *testing.T) {
	for name, take := range map[string]func(*served){
		"taken away": func(s *served) { s.does("/phones", "end-"+s.web.Lan().State().Devices[0].ID, nil) },
		"fresh code": func(s *served) { s.does("/phones", "again-"+s.web.Lan().State().Devices[0].ID, nil) },
		"by command": func(s *served) { must(0, s.web.Lan().End("ANA's phone")) },
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			onLan(t, s)
			p, other := letIn(t, s, "Ana's phone", nil), letIn(t, s, "tablet", nil)
			news := p.listens()
			take(s)
			select {
			case <-news:
			case <-time.After(patience):
				t.Fatal("what was open goes on")
			}
			res, _ := p.do(p.request(http.MethodGet, "/", nil))
			if res.StatusCode != http.StatusUnauthorized || len(res.Cookies()) != 1 || res.Cookies()[0].MaxAge >= 0 {
				t.Errorf("status %d, cookies %v", res.StatusCode, res.Cookies())
			}
			if status, _ := other.get("/"); status != http.StatusOK {
				t.Errorf("the other device: status %d", status)
			}
		})
	}
}

// listens opens the news and gives what is closed when they end.
func (p *phone) listens() <-chan struct{} {
	p.t.Helper()
	client := *p.http
	client.Timeout = 0
	res, err := client.Do(p.request(http.MethodGet, "/live", nil))
	if err != nil || res.StatusCode != http.StatusOK {
		p.t.Fatal(res, err)
	}
	in := bufio.NewScanner(res.Body)
	if !in.Scan() {
		p.t.Fatal("no news")
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for in.Scan() {
		}
		res.Body.Close()
	}()
	return ended
}

func TestTurnedOffNobodyIsThereAndOnAgainTheSameAreLetIn(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	p := letIn(t, s, "Ana's phone", nil)
	news := p.listens()
	s.does("/phones", "off", nil)
	select {
	case <-news:
	case <-time.After(patience):
		t.Fatal("what was open goes on")
	}
	if _, err := p.http.Do(p.request(http.MethodGet, "/", nil)); err == nil {
		t.Error("somebody answers")
	}
	was := certificate(t, s.dir)
	again := servedAgain(t, s)
	wants(t, again.get("/phones"), "The page is shown on this machine only", "Ana&#39;s phone")
	again.does("/phones", "on", url.Values{"address": {again.web.Lan().State().Address}, "names": {"front.home.arpa"}})
	if status, body := p.get("/"); status != http.StatusOK {
		t.Errorf("status %d: %.500s", status, body)
	}
	if !certificate(t, again.dir).Equal(was) {
		t.Error("the certificate is another")
	}
	// Another name takes another certificate, of the same key.
	again.does("/phones", "off", nil)
	again.does("/phones", "on", url.Values{"address": {again.web.Lan().State().Address}, "names": {"bench.home.arpa, front.home.arpa"}})
	next := certificate(t, again.dir)
	if next.Equal(was) || string(next.RawSubjectPublicKeyInfo) != string(was.RawSubjectPublicKeyInfo) {
		t.Error("the certificate is the same, or its key another")
	}
	sum := sha256.Sum256(next.Raw)
	for i := 0; i < len(sum); i += 8 {
		wants(t, again.get("/phones"), strings.ToUpper(pairs(sum[i:i+8])))
	}
	if next.VerifyHostname("bench.home.arpa") != nil || next.VerifyHostname("127.0.0.1") != nil || next.NotAfter.Sub(next.NotBefore) > 825*24*time.Hour {
		t.Errorf("it is for %v %v until %v", next.DNSNames, next.IPAddresses, next.NotAfter)
	}
}

func pairs(b []byte) string {
	const digits = "0123456789abcdef"
	var list []string
	for _, x := range b {
		list = append(list, string([]byte{digits[x>>4], digits[x&15]}))
	}
	return strings.Join(list, ":")
}

func TestADeviceComesByTheNamesThatWereChosenOnly(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	p := letIn(t, s, "Ana's phone", nil)
	own := strings.TrimPrefix(p.at, "https://")
	_, port, _ := net.SplitHostPort(own)
	for host, want := range map[string]int{
		own: 200, "front.home.arpa:" + port: 200, "FRONT.home.arpa:" + port: 200,
		"evil.example": 421, "evil.example:" + port: 421, "localhost:" + port: 421, "127.0.0.1": 421, "front.home.arpa": 421, "[::1]:" + port: 421,
		strings.TrimSuffix(strings.TrimPrefix(s.web.Address(), "http://"), "/"): 421,
	} {
		for _, at := range []string{"/", "/enter?code=x", "/static/none"} {
			r := p.request(http.MethodGet, at, nil)
			r.Host = host
			if res, _ := p.do(r); (res.StatusCode == http.StatusMisdirectedRequest) != (want == http.StatusMisdirectedRequest) {
				t.Errorf("Host %s, %s: status %d", host, at, res.StatusCode)
			}
		}
	}
	r := s.request(http.MethodGet, "/", nil)
	r.Host = own
	if status, _ := s.do(r); status != http.StatusMisdirectedRequest {
		t.Errorf("the laptop's own page answers to the network's name: status %d", status)
	}
}

func TestAnotherSiteSendsADeviceNowhere(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	p := letIn(t, s, "tablet", url.Values{"rights": {"write"}})
	code := codeOf(t, s, "Ana's phone", nil)
	for name, header := range map[string][2]string{"cross-site": {"Sec-Fetch-Site", "cross-site"}, "same site": {"Sec-Fetch-Site", "same-site"}, "origin": {"Origin", "https://evil.example"}, "null": {"Origin", "null"}} {
		for _, at := range []string{"/enter", "/benches/settle"} {
			r := p.request(http.MethodPost, at, url.Values{"code": {code}})
			r.Header.Set(header[0], header[1])
			if res, _ := p.do(r); res.StatusCode != http.StatusForbidden {
				t.Errorf("%s, %s: status %d", name, at, res.StatusCode)
			}
		}
	}
	if _, ok := s.web.Lan().For(code); !ok {
		t.Error("the code was used up")
	}
}
