package web_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/cli"
)

// typed is one action as the command line takes it and as the page does.
type typed struct {
	cli  []string // %ENTRY is the end of the id of the entry below
	do   string   // the form of the bench; empty to receive
	form url.Values
	of   string // the kind of the entry that is named, of those standing or taken back
}

func vals(pairs ...string) url.Values {
	v := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

// everyAction is each thing the commands of the bench do, with what each of its
// flags says.
var everyAction = []typed{
	{cli: []string{"receive", "--maker", "Ostrel", "--model", "R-950", "--serial", "E17-17750", "--year", "1965-67", "--kind", "table-radio", "--complaint", "hums; \"motor-boats\" at full volume",
		"--condition", "scratched", "--accessories", "two stations", "--carrier", "Long Meadow Express", "--customer", "Odile Marchbanks", "--city", "Holmby", "--phone", "555-0100", "--email", "o@example.org", "--address", "1 Hill", "--by", "ro"},
		form: vals("maker", "Ostrel", "model", "R-950", "serial", "E17-17750", "year", "1965-67", "kind", "table-radio", "complaint", "hums; \"motor-boats\" at full volume",
			"condition", "scratched", "accessories", "two stations", "carrier", "Long Meadow Express", "customer", "Odile Marchbanks", "city", "Holmby", "phone", "555-0100", "email", "o@example.org", "address", "1 Hill", "by", "ro")},
	{cli: []string{"identify", "10019", "--maker", "Ostrel", "--model", "R-951", "--serial", "E17-17751", "--year", "1966", "--kind", "receiver", "--evidence", "date code=274-6342", "--evidence", "label=under the cover"},
		do:   "identify",
		form: vals("maker", "Ostrel", "model", "R-951", "serial", "E17-17751", "year", "1966", "kind", "receiver", "evidence", "date code", "reads", "274-6342", "evidence2", "label", "reads2", "under the cover")},
	{cli: []string{"diagnose", "10019", "filter caps leaky; vol. control scratchy", "--symptom", "hums", "--cause", "age", "--sure", "likely"},
		do: "diagnose", form: vals("finding", "filter caps leaky; vol. control scratchy", "symptom", "hums", "cause", "age", "sure", "likely")},
	{cli: []string{"diagnose", "10019", "the first one", "--component", "filter-capacitor", "--mode", "leaky", "--designator", "C1"},
		do: "diagnose", form: vals("finding", "the first one", "component", "filter-capacitor", "mode", "leaky", "designator", "C1")},
	{cli: []string{"diagnose", "10019", "--none", "played for an hour"}, do: "none", form: vals("text", "played for an hour")},
	{cli: []string{"estimate", "10019", "$120.50", "all filters", "--currency", "EUR", "--by", "mk"}, do: "estimate", form: vals("amount", "$120.50", "text", "all filters", "currency", "eur", "by", "mk")},
	{cli: []string{"estimate", "10019", "--accepted", "by telephone"}, do: "answer", form: vals("answer", "Y", "text", "by telephone")},
	{cli: []string{"estimate", "10019", "--declined"}, do: "answer", form: vals("answer", "no")},
	{cli: []string{"wait", "10019", "parts", "ordered"}, do: "wait", form: vals("for", "parts", "text", "ordered")},
	{cli: []string{"resume", "10019", "came"}, do: "resume", form: vals("text", "came")},
	{cli: []string{"replace", "10019", "C14", "47 MMF", "--out", ".047 MFD", "--reason", "failed", "--component", "coupling-capacitor", "--date-code", "606-4-21"},
		do: "replace", form: vals("designator", "C14", "in", "47 MMF", "out", ".047 MFD", "reason", "failed", "component", "coupling-capacitor", "datecode", "606-4-21")},
	{cli: []string{"replace", "10019", "pilot lamp"}, do: "replace", form: vals("designator", "pilot lamp")},
	{cli: []string{"work", "10019", "cleaned", "all of them", "--on", "switch", "--designator", "S1", "--minutes", "25"},
		do: "work", form: vals("work", "cleaned", "text", "all of them", "component", "switch", "designator", "S1", "minutes", "25")},
	{cli: []string{"measure", "10019", "AM", "12 mV", "--as-found", "--instrument", "VTVM", "--limits", "80 mV", "--conditions", "30 % at 1 kHz"},
		do: "measure", form: vals("point", "AM", "reading", "12 mV", "stage", "as found", "instrument", "VTVM", "limits", "80 mV", "conditions", "30 % at 1 kHz")},
	{cli: []string{"measure", "10019", "B+", "285", "--kind", "supply-voltage", "--as-left"}, do: "measure", form: vals("point", "B+", "reading", "285", "kind", "supply-voltage", "stage", "as left")},
	{cli: []string{"measure", "10019", "leakage", "0.2 mA"}, do: "measure", form: vals("point", "leakage", "reading", "0.2 mA", "stage", "")},
	{cli: []string{"measure", "10019", "touch current", "0.35 V", "--network", "iec60990", "--peak", "--limits", "0.35 V peak"},
		do: "measure", form: vals("point", "touch current", "reading", "0.35 V", "stage", "", "network", "iec60990", "amplitude", "peak", "limits", "0.35 V peak")},
	{cli: []string{"test", "10019", "unfinished", "FM only", "--left-out", "phono: no record at hand"}, do: "test", form: vals("verdict", "not finished", "text", "FM only", "leftout", "phono: no record at hand")},
	{cli: []string{"note", "10019", "dial string renewed"}, do: "note", form: vals("text", "dial string renewed")},
	{cli: []string{"correct", "10019", "%ENTRY", "--set", "in.text=50 MMF", "--set", "at=2026-11-24", "--why", "read wrong"},
		do: "correct", of: "part replaced", form: vals("set-in", "50 MMF", "was-in", "47 MMF", "set-out", ".047 MFD", "was-out", ".047 MFD", "set-at", "2026-11-24", "was-at", "2026-11-25T12:00:00Z", "why", "read wrong")},
	{cli: []string{"withdraw", "10019", "%ENTRY", "--why", "of another set"}, do: "withdraw", of: "note", form: vals("why", "of another set")},
	{cli: []string{"restore", "10019", "%ENTRY", "--why", "it was so"}, do: "restore", of: "note", form: vals("why", "it was so")},
	{cli: []string{"ship", "10019", "with its stations", "--outcome", "repaired", "--carrier", "Quickstile Parcel", "--charge", "120.50", "--warranty", "90", "--at", "2026-11-25"},
		do: "ship", form: vals("text", "with its stations", "outcome", "repaired", "carrier", "Quickstile Parcel", "charge", "120.50", "currency", "USD", "warranty", "90", "at", "2026-11-25")},
	{cli: []string{"receive", "10019", "--complaint", "again"}, form: vals("unit", "10019", "complaint", "again")},
	{cli: []string{"ship", "10019", "--outcome", "declined"}, do: "ship", form: vals("outcome", "declined")},
	{cli: []string{"receive", "--maker", "Ostrel", "--serial", "E17-17755"}, form: vals("maker", "Ostrel", "serial", "E17-17755")},
	{cli: []string{"same", "10019", "10024", "--why", "the label was read wrong"}, do: "same", form: vals("other", "10024", "why", "the label was read wrong")},
	{cli: []string{"apart", "10019", "10024", "--why", "it was not"}, do: "apart", form: vals("other", "10024", "why", "it was not")},
}

func TestEachFormSavesWhatItsCommandSaves(t *testing.T) {
	page := newShop(t)
	dir := filepath.Join(t.TempDir(), "shop")
	opt := app.Options{State: filepath.Join(t.TempDir(), "state"), Now: func() time.Time { return asOf }}
	run(t, dir, opt, "new", "Lantern Street Radio", "--bench", "front")
	open, err := app.Open(dir, opt) // once for all commands, as they would in the page's process
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := open.Close(); err != nil {
			t.Error(err)
		}
	}()
	opt.In = open
	there := app.Options{In: page.shop, Now: opt.Now}
	names := &tags{t: t, s: page, here: map[string]string{}}
	for _, a := range everyAction {
		line := make([]string, len(a.cli))
		for i, word := range a.cli {
			line[i] = strings.ReplaceAll(word, "%ENTRY", entryNamed(t, run(t, dir, opt, "past", "10019", "--json"), a.of))
		}
		run(t, dir, opt, line...)
		post(t, page, a, names, entryNamed(t, run(t, page.dir, there, "past", names.ours("10019"), "--json"), a.of))
		for _, unit := range []string{"10019", "10024"} {
			want, got := unnamed(run(t, dir, opt, "past", unit, "--json")), unnamed(names.there(run(t, page.dir, there, "past", names.ours(unit), "--json")))
			if want != got {
				t.Fatalf("after %v: %s", line, differ(want, got))
			}
		}
	}
	if want, got := bodies(run(t, dir, opt, "export")), bodies(names.there(run(t, page.dir, there, "export"))); want != got {
		t.Error(differ(want, got))
	}
}

func TestEveryFormOfTheBenchIsComparedWithItsCommand(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	tried := map[string]bool{}
	for _, a := range everyAction {
		tried[a.do] = true
	}
	acts := regexp.MustCompile(`bench\?do=([a-z]+)"`).FindAllStringSubmatch(s.get("/unit/"+tag+"/bench"), -1)
	if len(acts) < 15 {
		t.Fatalf("%d forms seen: %v", len(acts), acts)
	}
	for _, a := range acts {
		if !tried[a[1]] {
			t.Errorf("form %s is compared with nothing", a[1])
		}
	}
}

// tags puts the tags that the page gave in the place of those that the commands
// gave: a folder that was opened elsewhere counts on from further up.
type tags struct {
	t    testing.TB
	s    *served
	here map[string]string // by those of the commands
}

// learn notes the tag of a serial, once the unit came in.
func (g *tags) learn(tag, serial string) {
	found, _, err := g.s.shop.Lookup(serial, 1)
	if err != nil {
		g.t.Fatal(err)
	}
	if g.here[tag] == "" && len(found) == 1 && found[0].Likeness == 1 {
		g.here[tag] = found[0].Tag
	}
}

func (g *tags) pairs() (list []string) {
	g.learn("10019", "E17-17750")
	g.learn("10024", "E17-17755")
	for tag, here := range g.here {
		list = append(list, tag, here)
	}
	return list
}

func (g *tags) ours(text string) string { return strings.NewReplacer(g.pairs()...).Replace(text) }

func (g *tags) there(text string) string {
	p := g.pairs()
	for i := 0; i < len(p); i += 2 {
		p[i], p[i+1] = p[i+1], p[i]
	}
	return strings.NewReplacer(p...).Replace(text)
}

// run runs a command and wants it done.
func run(t testing.TB, dir string, opt app.Options, args ...string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := cli.Run(append(args, "--shop", dir), strings.NewReader(""), &out, &errOut, opt); code != 0 && args[0] != "past" {
		t.Fatalf("oldhand %q: exit code %d: %s", args, code, errOut.String())
	}
	return out.String()
}

// post sends an action's form as the page draws it.
func post(t testing.TB, s *served, a typed, names *tags, entry string) {
	t.Helper()
	at, form, drawn := "/receive", "receive", "/receive"
	if a.do != "" {
		bench := "/unit/" + names.ours("10019") + "/bench"
		at, form, drawn = bench+"/"+a.do, a.do, bench+"?do="+a.do+"&entry="+entry
	}
	v := url.Values{"once": {once(t, s.get(drawn), form)}}
	for name, values := range a.form {
		v.Set(name, names.ours(values[0]))
	}
	if entry != "" {
		v.Set("entry", entry)
	}
	if status, body := s.post(at, v); status != http.StatusOK || !strings.Contains(body, "Saved: ") {
		t.Fatalf("form %s: status %d: %.3000s", form, status, body)
	}
}

// entryNamed is the id of the first entry of a kind, standing or taken back.
func entryNamed(t testing.TB, past, kind string) string {
	t.Helper()
	if kind == "" {
		return ""
	}
	var p app.Past
	if err := json.Unmarshal([]byte(past), &p); err != nil {
		t.Fatal(err)
	}
	for _, u := range p.Matches {
		all := u.Withdrawn
		for _, v := range u.Visits {
			all = append(all, v.Lines...)
		}
		for _, l := range all {
			if strings.HasPrefix(strings.ReplaceAll(l.Kind, ".", " "), kind) || strings.Contains(l.Line, kind) {
				return l.Event
			}
		}
	}
	t.Fatalf("no entry of kind %q in %s", kind, past)
	return ""
}

// differ is the first line that differs.
func differ(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(w), len(g)) {
		if w[i] != g[i] {
			return "the command wrote\n" + w[i] + "\nand the form\n" + g[i]
		}
	}
	return "one has more than the other:\n" + want + "\nand\n" + got
}

var ids = regexp.MustCompile(`[0-9A-HJKMNP-TV-Z]{26}`)

// unnamed leaves out the ids, which no two shops have in common.
func unnamed(text string) string { return ids.ReplaceAllString(text, "ID") }

// bodies are the kinds and data of an export about units, in order.
func bodies(export string) string {
	keys := regexp.MustCompile(`"[0-9a-f]{32,}"|"[a-z2-7]{26}"`)
	var all []string
	for _, line := range strings.Split(export, "\n") {
		var e struct {
			Type string
			Data json.RawMessage
		}
		if json.Unmarshal([]byte(line), &e) != nil || strings.Contains(e.Type, "bench") || strings.Contains(e.Type, "shop") || strings.Contains(e.Type, "feed") || strings.Contains(e.Type, "person") || strings.Contains(e.Type, "head") {
			continue
		}
		all = append(all, e.Type+" "+keys.ReplaceAllString(unnamed(string(e.Data)), `"KEY"`))
	}
	return strings.Join(all, "\n")
}
