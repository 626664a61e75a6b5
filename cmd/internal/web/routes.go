package web

import (
	"net/http"
	"slices"

	"oldhand/events/evidence"
)

// room is a page, or a part of one that is fetched or posted to alone.
type room struct {
	name     string // for links and for the tests' pictures; none for what is no page
	method   string // GET, where it is not said
	at       string // the path, as http.ServeMux reads it
	menu     string // its word in the menu; none where it is not in it
	do       func(*request) error
	unshoped bool  // it goes without a shop
	own      bool  // for browsers of this machine only, never for another device
	looks    bool  // it is posted to and writes nothing: for devices too that may only look
	mostBody int64 // how much may be posted, where it is more than a form
}

// pages are every page there is. A further one is a row in one of these tables, a
// file with what it does and a template.
func pages() []room {
	return slices.Concat(unitPages(), shopPages(), benchPages(), bookPages())
}

// unitPages are about one unit, and for who works at a bench or the counter.
func unitPages() []room {
	return []room{
		{name: "today", at: "/{$}", menu: "Today", do: today},
		{name: "find", at: "/find", do: find},
		{at: "/find/list", do: findList},
		{name: "unit", at: "/unit/{unit}", do: unit},
		{name: "record", at: "/unit/{unit}/record", do: recordPage},
		{at: "/unit/{unit}/record/pdf", do: recordPDF},
		{name: "receive", at: "/receive", menu: "Receive", do: receive},
		{at: "/receive/known", do: receiveKnown},
		{method: http.MethodPost, at: "/receive", do: receiveDo},
		{name: "bench", at: "/unit/{unit}/bench", do: atBench},
		{method: http.MethodPost, at: "/unit/{unit}/bench/{do}", do: benchDo},
		{name: "test", at: "/unit/{unit}/test", do: bySheet},
		{method: http.MethodPost, at: "/unit/{unit}/test", do: bySheetDo},
		{method: http.MethodPost, at: "/unit/{unit}/test/judge", do: judge},
		{name: "sheets", at: "/sheets", menu: "Test sheets", do: testSheets},
		{name: "sheet", at: "/sheet", do: oneSheet},
		{method: http.MethodPost, at: "/sheet", do: defineSheet},
		{method: http.MethodPost, at: "/sheets/take", do: takeSheet},
		{method: http.MethodPost, at: "/unsent", do: keepUnsent},
		{method: http.MethodPost, at: "/unsent/drop", do: dropUnsent},
		{method: http.MethodPost, at: "/unit/{unit}/settle", do: settleConflict},
		{method: http.MethodPost, at: "/unit/{unit}/pair", do: pair},
		{name: "begin", at: "/begin", do: begin, unshoped: true, own: true},
		{method: http.MethodPost, at: "/begin/found", do: beginFound, unshoped: true, own: true},
		{method: http.MethodPost, at: "/begin/join", do: beginJoin, unshoped: true, own: true},

		{name: "files", at: "/unit/{unit}/files", do: keptFiles},
		{method: http.MethodPost, at: "/attach", do: attach, mostBody: 4 * evidence.MaxSize},
		{at: "/file/{content}", do: oneFile},

		{name: "sums", at: "/sums", menu: "Sums", do: sumsPage, unshoped: true},
		{at: "/sums/{sum}", do: sumPart, unshoped: true},
		{name: "words", at: "/words", do: tradeWords},
		{method: http.MethodPost, at: "/words", do: wordsAdd},

		{at: "/echo/{as}", do: echo, unshoped: true},
		{at: "/live", do: live},
	}
}

// shopPages are what the shop has learned.
func shopPages() []room {
	return []room{
		{name: "fleet", at: "/fleet", menu: "Fleet", do: fleet},
		{name: "question", at: "/fleet/{question}", do: question},
		{name: "units", at: "/fleet/{question}/units", do: units},
		{at: "/fleet/{question}/csv", do: answerCSV},
		{at: "/fleet/{question}/xlsx", do: answerXLSX},
		{name: "year", at: "/year", menu: "Year", do: year},
		{at: "/year/{year}", do: year},
		{name: "model", at: "/model/{maker}/{model}", do: model},

		{name: "tags", at: "/tags", menu: "Tags", do: tagsPage},
		{at: "/tags/pdf", do: tagsPDF},
		{at: "/tags/picture", do: tagPicture},
		{method: http.MethodPost, at: "/tags/read", do: readTag, mostBody: mostPhoto, looks: true},
	}
}

// benchPages are about the shop's benches and the devices that may use the page.
func benchPages() []room {
	return []room{
		{name: "benches", at: "/benches", menu: "Benches", do: benches},
		{method: http.MethodPost, at: "/benches/settle", do: settleDispute},
		{at: "/benches/place", do: placePart, own: true},
		{method: http.MethodPost, at: "/benches/host", do: startHosting, own: true},
		{method: http.MethodPost, at: "/benches/unhost", do: stopHosting, own: true},
		{method: http.MethodPost, at: "/benches/watch", do: startWatching, own: true},
		{method: http.MethodPost, at: "/benches/unwatch", do: stopWatching, own: true},
		{method: http.MethodPost, at: "/benches/meet", do: meetOnce, own: true},
		{at: "/benches/code", do: codePart, own: true},
		{method: http.MethodPost, at: "/benches/code/make", do: makeCode, own: true},
		{name: "retire", at: "/benches/retire/{bench}", do: retire, own: true},
		{method: http.MethodPost, at: "/benches/retire", do: retireBench, own: true},
		{name: "release", at: "/benches/release/{bench}", do: release, own: true},
		{method: http.MethodPost, at: "/benches/release", do: releaseBench, own: true},
		{method: http.MethodPost, at: "/benches/spare", do: spareKey, own: true},
		{method: http.MethodPost, at: "/benches/owner", do: useOwnerKey, own: true},
		{method: http.MethodPost, at: "/benches/bundle", do: bundleOut, own: true},
		{method: http.MethodPost, at: "/benches/bundle/photos", do: photosOut, own: true},
		{method: http.MethodPost, at: "/benches/bundle/look", do: bundleLook, own: true, mostBody: mostBundle},
		{name: "bundle", at: "/benches/bundle/{file}", do: bundlePage, own: true},
		{method: http.MethodPost, at: "/benches/bundle/take", do: bundleTake, own: true},
		{name: "doctor", at: "/doctor", do: doctor, own: true},
		{at: "/doctor/going", do: doctorGoing, own: true},
		{method: http.MethodPost, at: "/doctor/whole", do: doctorWhole, own: true},
		{method: http.MethodPost, at: "/doctor/scrub", do: doctorScrub, own: true},
		{name: "backups", at: "/backups", do: backups, own: true},
		{at: "/backups/going", do: backupsGoing, own: true},
		{method: http.MethodPost, at: "/backups/write", do: backupWrite, own: true},
		{method: http.MethodPost, at: "/backups/drill", do: backupDrill, own: true},
		{name: "cluster", at: "/cluster", do: cluster, own: true},
		{at: "/cluster/keys", do: clusterKeys, own: true},
		{method: http.MethodPost, at: "/cluster/meet", do: clusterMeet, own: true},
		{name: "phones", at: "/phones", do: phones, own: true},
		{method: http.MethodPost, at: "/phones/on", do: phonesOn, own: true},
		{method: http.MethodPost, at: "/phones/off", do: phonesOff, own: true},
		{method: http.MethodPost, at: "/phones/let", do: phonesLet, own: true},
		{method: http.MethodPost, at: "/phones/again", do: phonesAgain, own: true},
		{method: http.MethodPost, at: "/phones/end", do: phonesEnd, own: true},
		{at: "/running", do: running, unshoped: true, own: true},
		{at: "/running/where", do: runningWhere, unshoped: true, own: true},
	}
}

// bookPages read old books in.
func bookPages() []room {
	return []room{
		{name: "import", at: "/import", menu: "Read in", do: importing, own: true},
		{method: http.MethodPost, at: "/import/file", do: importFile, mostBody: mostFile + mostBody, own: true},
		{name: "book", at: "/import/{book}", do: oneBook, own: true},
		{method: http.MethodPost, at: "/import/{book}/map", do: bookDo(remap), own: true},
		{method: http.MethodPost, at: "/import/{book}/try", do: bookDo(tryBook), own: true},
		{method: http.MethodPost, at: "/import/{book}/take", do: bookDo(takeBook), own: true},
		{method: http.MethodPost, at: "/import/{book}/pair", do: bookDo(answerPair), own: true},
		{method: http.MethodPost, at: "/import/{book}/drop", do: dropBook, own: true},
	}
}

// routes are the pages and the files that go with them.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	s.addPages(mux)
	mux.HandleFunc("GET /start", s.start)
	return mux
}

// addPages adds what is the same for browsers of this machine and for other
// devices.
func (s *Server) addPages(mux *http.ServeMux) {
	for _, p := range pages() {
		method := p.method
		if method == "" {
			method = http.MethodGet
		}
		mux.HandleFunc(method+" "+p.at, func(w http.ResponseWriter, r *http.Request) { s.answer(w, r, p) })
	}
	mux.HandleFunc("GET /static/{file}", s.look.serve)
	mux.HandleFunc("GET /favicon.ico", s.look.icon)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.answer(w, r, room{do: nowhere, unshoped: true}) })
}

// looksOnly reports whether something is only looked up that is posted to a path.
func looksOnly(path string) bool {
	for _, p := range pages() {
		if p.looks && p.at == path {
			return true
		}
	}
	return false
}

// page is a page by its name.
func page(name string) (room, bool) {
	for _, p := range pages() {
		if p.name == name && name != "" {
			return p, true
		}
	}
	return room{}, false
}
