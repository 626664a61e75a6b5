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
