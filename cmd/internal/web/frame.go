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
		if p.menu != "" && f.q.shop != nil && (f.q.visitor == nil || !p.own) {
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

// Reading reports whether the page goes to a device that may only look.
func (f frame) Reading() bool { return f.q.visitor != nil && !f.q.visitor.Write }

// Visitor is what is said to another device of what it may; empty on this machine.
func (f frame) Visitor() string {
	if f.q.visitor == nil {
		return ""
	}
	return f.q.visitor.Name + " " + f.q.visitor.Rights()
}

// Notices are what was just done.
func (f frame) Notices() []notice { return f.q.s.said.by(f.q.asked("said")) }

// Query is what was looked for.
func (f frame) Query() string { return f.q.asked("q") }

// Refresh is where a bare page goes on to by itself.
func (f frame) Refresh() template.URL { return template.URL(f.q.refresh) } // set by this program only
