package evidence

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"oldhand/events"
)

// CleanName is a file's name as an entry keeps it: the last part of its path, on
// whatever system it was typed, without control and direction characters, which
// could make it look like another, and no longer than an entry's words may be.
func CleanName(name string) string {
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	name = strings.ToValidUTF8(name, "")
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r) {
			return -1
		}
		return r
	}, name)
	name = strings.TrimSpace(name)
	if name == "." || name == ".." {
		return ""
	}
	return shortened(name, events.MaxWord)
}

// shortened cuts a name in front of its ending, at a whole character.
func shortened(name string, most int) string {
	if len(name) <= most {
		return name
	}
	ending := ""
	if i := strings.LastIndexByte(name, '.'); i > 0 && len(name)-i <= 10 {
		ending = name[i:]
	}
	name = name[:most-len(ending)]
	for !utf8.ValidString(name) {
		name = name[:len(name)-1]
	}
	return name + ending
}
