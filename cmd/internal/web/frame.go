package web

import "html/template"

// frame is what stands around every page.
type frame struct {
	q     *request
	Title string
	Main  any
}

// menuItem is a page in the menu.
type menuItem struct {
	Name, Word string
	Here       bool
}

// Menu lists the pages of the menu.
func (f frame) Menu() (list []menuItem) {
	for _, p := range pages() {
		if p.menu != "" && f.q.shop != nil {
			list = append(list, menuItem{p.name, p.menu, p.name == f.q.room.name})
		}
	}
	return list
}

// Shop is the shop's name, empty where there is none yet.
func (f frame) Shop() string {
	if f.q.shop == nil {
		return ""
	}
	return f.q.shop.Card.Name
}

// Bench is the bench's name.
func (f frame) Bench() string {
	if f.q.shop == nil {
		return ""
	}
	return f.q.shop.Card.Bench
}

// Notices are what was just done.
func (f frame) Notices() []notice { return f.q.s.said.by(f.q.asked("said")) }

// Query is what was looked for.
func (f frame) Query() string { return f.q.asked("q") }

// Refresh is where a bare page goes on to by itself.
func (f frame) Refresh() template.URL { return template.URL(f.q.refresh) } // set by this program only
