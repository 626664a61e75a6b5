package jobbook

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// ReadMapping reads what Mapping.Write wrote and a person edited. An unknown
// key is refused with its line: a misspelt "serail" that was passed over would
// lose a column without a word.
func ReadMapping(r io.Reader) (Mapping, error) {
	m := Mapping{Columns: map[Field]string{}}
	seen := map[string]int{}
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\uFEFF"))
		if text == "" || text[0] == '#' {
			continue
		}
		if err := m.readLine(text, n, seen); err != nil {
			return Mapping{}, fmt.Errorf("mapping line %d: %w", n, err)
		}
	}
	if err := lines.Err(); err != nil {
		return Mapping{}, fmt.Errorf("read mapping: %w", err)
	}
	return m, nil
}

func (m *Mapping) readLine(text string, n int, seen map[string]int) error {
	key, heading, value, err := cutLine(text)
	if err != nil {
		return err
	}
	id := key + "\x00" + strings.ToLower(heading)
	if first, twice := seen[id]; twice {
		return fmt.Errorf("key %q stands in line %d already", strings.TrimSpace(key+" "+heading), first)
	}
	seen[id] = n
	if key == "reading" {
		return m.readReading(heading, value)
	}
	for _, s := range settings {
		if s.key == key {
			return set(m, s, value)
		}
	}
	if _, ok := place[Field(key)]; ok {
		m.Columns[Field(key)] = value
		return nil
	}
	return fmt.Errorf("unknown key %q", key)
}

// set sets one setting. An empty value leaves it to be guessed.
func set(m *Mapping, s setting, value string) error {
	if value == "" {
		return nil
	}
	if err := s.set(m, value); err != nil {
		return fmt.Errorf("%s: %w", s.key, err)
	}
	return nil
}

func (m *Mapping) readReading(heading, value string) error {
	if heading == "" {
		return errors.New(`a reading needs the heading of its column: reading "AM mV" = "AM, mV"`)
	}
	r := ReadingColumn{Heading: heading}
	if value != "" {
		rest := value
		for _, stage := range []string{AsFound, AsLeft} {
			if before, ok := strings.CutSuffix(rest, ", "+stage); ok {
				rest, r.Stage = before, stage
			}
		}
		i := strings.LastIndex(rest, ",")
		if i < 0 {
			return fmt.Errorf(`reading %q: %q is not a test point, a comma and a unit`, heading, value)
		}
		r.Point, r.Unit = strings.TrimSpace(rest[:i]), strings.TrimSpace(rest[i+1:])
		if r.Point == "" {
			return fmt.Errorf(`reading %q: %q has no test point before its unit`, heading, value)
		}
	}
	m.Readings = append(m.Readings, r)
	return nil
}

// cutLine cuts key = "value", with the heading in quotes behind the key of a
// reading.
func cutLine(text string) (key, heading, value string, err error) {
	i := strings.IndexAny(text, `="`)
	if i < 0 {
		return "", "", "", fmt.Errorf("%q is not key = \"value\"", text)
	}
	key = strings.ToLower(strings.TrimSpace(text[:i]))
	rest := text[i:]
	if rest[0] == '"' {
		if key != "reading" {
			return "", "", "", fmt.Errorf("%q is not key = \"value\"", text)
		}
		if heading, rest, err = cutQuoted(rest); err != nil {
			return "", "", "", err
		}
		rest = strings.TrimSpace(rest)
	}
	rest, ok := strings.CutPrefix(rest, "=")
	if !ok {
		return "", "", "", fmt.Errorf("no = behind %q", strings.TrimSpace(key+" "+heading))
	}
	value, rest, err = cutQuoted(strings.TrimSpace(rest))
	if err != nil {
		return "", "", "", fmt.Errorf("value of %q: %w", key, err)
	}
	if rest = strings.TrimSpace(rest); rest != "" && rest[0] != '#' {
		return "", "", "", fmt.Errorf("%q stands behind the value of %q", rest, key)
	}
	return key, heading, value, nil
}

func cutQuoted(s string) (text, rest string, err error) {
	q, err := strconv.QuotedPrefix(s)
	if err != nil || q[0] != '"' {
		return "", "", fmt.Errorf("%q does not stand in double quotes", s)
	}
	text, err = strconv.Unquote(q)
	return text, s[len(q):], err
}
