package web

import "net/http"

// room is a page, or a part of one that is fetched or posted to alone.
type room struct {
	name     string // for links and for the tests' pictures; none for what is no page
	method   string // GET, where it is not said
	at       string // the path, as http.ServeMux reads it
	menu     string // its word in the menu; none where it is not in it
	do       func(*request) error
	unshoped bool  // it goes without a shop
	mostBody int64 // how much may be posted, where it is more than a form
}

// pages are every page there is. A further one is a row here, a file with what
// it does and a template.
func pages() []room {
	return []room{
		{name: "today", at: "/{$}", menu: "Today", do: today},
		{name: "find", at: "/find", do: find},
		{at: "/find/list", do: findList},
		{name: "unit", at: "/unit/{unit}", do: unit},
		{method: http.MethodPost, at: "/unit/{unit}/settle", do: settleConflict},
		{method: http.MethodPost, at: "/unit/{unit}/pair", do: pair},
		{name: "begin", at: "/begin", do: begin, unshoped: true},
		{method: http.MethodPost, at: "/begin/found", do: beginFound, unshoped: true},
		{method: http.MethodPost, at: "/begin/join", do: beginJoin, unshoped: true},

		{name: "import", at: "/import", menu: "Read in", do: importing},
		{method: http.MethodPost, at: "/import/file", do: importFile, mostBody: mostFile + mostBody},
		{name: "book", at: "/import/{book}", do: oneBook},
		{method: http.MethodPost, at: "/import/{book}/map", do: bookDo(remap)},
		{method: http.MethodPost, at: "/import/{book}/try", do: bookDo(tryBook)},
		{method: http.MethodPost, at: "/import/{book}/take", do: bookDo(takeBook)},
		{method: http.MethodPost, at: "/import/{book}/pair", do: bookDo(answerPair)},
		{method: http.MethodPost, at: "/import/{book}/drop", do: dropBook},

		{at: "/echo/{as}", do: echo, unshoped: true},
		{at: "/live", do: live},
		{name: "fleet", at: "/fleet", menu: "Fleet", do: fleet},
		{name: "question", at: "/fleet/{question}", do: question},
		{at: "/fleet/{question}/csv", do: answerCSV},
		{at: "/fleet/{question}/xlsx", do: answerXLSX},
		{name: "year", at: "/year", menu: "Year", do: year},
		{at: "/year/{year}", do: year},
		{name: "model", at: "/model/{maker}/{model}", do: model},
	}
}

// routes are the pages and the files that go with them.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for _, p := range pages() {
		method := p.method
		if method == "" {
			method = http.MethodGet
		}
		mux.HandleFunc(method+" "+p.at, func(w http.ResponseWriter, r *http.Request) { s.answer(w, r, p) })
	}
	mux.HandleFunc("GET /start", s.start)
	mux.HandleFunc("GET /static/{file}", s.look.serve)
	mux.HandleFunc("GET /favicon.ico", s.look.icon)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.answer(w, r, room{do: nowhere, unshoped: true}) })
	return mux
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
