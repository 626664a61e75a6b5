package measure

import "strings"

// ReadDatedParts reads date codes as a person lists them: parted by commas,
// semicolons or line ends, each with a name before it where it has one, and with
// "replaced" behind it where the part is not original:
//
//	T1 134-6320, LS1=134-6405; C4 134-7812 replaced
//
// It reads no code; a piece that is none keeps its text, and BuiltNoEarlierThan
// leaves it out by name.
func ReadDatedParts(text string) []DatedPart {
	var parts []DatedPart
	for piece := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == ',' || r == ';' || r == '\n' }) {
		if piece = strings.TrimSpace(piece); piece != "" {
			parts = append(parts, datedPart(piece))
		}
	}
	return parts
}

func datedPart(piece string) (p DatedPart) {
	words := strings.Fields(piece)
	if last := len(words) - 1; last > 0 {
		switch strings.ToLower(strings.Trim(words[last], "()")) {
		case "replaced", "new":
			p.Replaced, words = true, words[:last]
		}
	}
	p.Code = strings.Join(words, " ")
	if name, code, ok := strings.Cut(p.Code, "="); ok {
		p.Name, p.Code = strings.TrimSpace(name), strings.TrimSpace(code)
	} else if len(words) > 1 && isLetter(words[0][0]) {
		p.Name, p.Code = words[0], strings.Join(words[1:], " ")
	}
	if p.Name == "" {
		p.Name = p.Code
	}
	return p
}
