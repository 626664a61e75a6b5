package web

import "net/http"

// Addresses are the addresses of all rooms that are asked for with GET.
func Addresses() (list []string) {
	for _, p := range pages() {
		if p.method == "" && p.at != "/live" {
			list = append(list, p.at)
		}
	}
	return list
}

// PageNames are the names of all pages.
func PageNames() (list []string) {
	for _, p := range pages() {
		if p.name != "" && p.method != http.MethodPost {
			list = append(list, p.name)
		}
	}
	return list
}

// Room is one room, for tests that range over all of them.
type Room struct {
	Method, At string
	Own        bool
	Looks      bool
}

// Rooms are all rooms.
func Rooms() (list []Room) {
	for _, p := range pages() {
		list = append(list, Room{choose(p.method != "", p.method, http.MethodGet), p.at, p.own, p.looks})
	}
	return list
}

// MostWrong is how many wrong codes are heard from one address in a minute.
const MostWrong = mostWrong
