package qr

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var rewrite = flag.Bool("rewrite", false, "write the kept drawings anew; read them with a telephone before they are committed")

// joinCode is spelt as join codes are and opens nothing.
const joinCode = "2ZP38-CRD29-HN9GS-HG7JE-S7DBR-74ARM-FWPBX-E6HW3-Y88DQ-CN5GU-FJPT3-8AV8C-94AHX-A5UUB-5CVH4-ENZ7Z"

func made(t testing.TB, text string) Code {
	t.Helper()
	c, err := Make(text)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// shown is what a terminal shows of a drawing: two pixels below each other for
// a character, in the terminal's colours until the drawing sets its own, and a
// margin of the terminal's ground around.
func shown(text string, letter, ground uint8) image.Image {
	const scale, margin = 4, 5
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	width := 0
	for _, l := range lines {
		width = max(width, len([]rune(l)))
	}
	m := image.NewGray(image.Rect(0, 0, (width+2*margin)*scale, (2*len(lines)+2*margin)*scale))
	paint := func(x, y int, c uint8) {
		for i := range scale * scale {
			m.SetGray((x+margin)*scale+i%scale, (y+margin)*scale+i/scale, color.Gray{Y: c})
		}
	}
	for i := range m.Pix {
		m.Pix[i] = ground
	}
	for y, l := range lines {
		fore, back := letter, ground
		if rest, ok := strings.CutPrefix(l, blackOnWhite); ok {
			l, fore, back = strings.TrimSuffix(rest, asBefore), 0, 255
		}
		for x, r := range []rune(l) {
			up, low := back, back
			switch r {
			case '█':
				up, low = fore, fore
			case '▀':
				up = fore
			case '▄':
				low = fore
			}
			paint(x, 2*y, up)
			paint(x, 2*y+1, low)
		}
	}
	return m
}

// Each drawing is read on the terminal that it is for, and the coloured one on
// both.
func TestADrawingIsReadOffTheScreenItIsFor(t *testing.T) {
	c := made(t, joinCode)
	for name, m := range map[string]image.Image{
		"blocks on a dark screen":      shown(c.Text(OnDark), 220, 20),
		"blocks on a light screen":     shown(c.Text(OnLight), 20, 240),
		"own colours, a dark screen":   shown(c.Text(OnColours), 220, 20),
		"own colours, a light screen":  shown(c.Text(OnColours), 20, 240),
		"own colours, a yellow letter": shown(c.Text(OnColours), 180, 90),
	} {
		t.Run(name, func(t *testing.T) {
			if got, err := read(m); err != nil || got != joinCode {
				t.Errorf("read %q, %v", got, err)
			}
		})
	}
}

// The reader of these tests takes no code with light and dark swapped; so it
// would tell if a drawing were for the other screen.
func TestADrawingForTheOtherScreenIsNotRead(t *testing.T) {
	c := made(t, joinCode)
	for name, m := range map[string]image.Image{
		"for a dark screen on a light one": shown(c.Text(OnDark), 20, 240),
		"for a light screen on a dark one": shown(c.Text(OnLight), 220, 20),
	} {
		if got, err := read(m); err == nil {
			t.Errorf("%s: read %q", name, got)
		}
	}
}

func TestPicturesAreReadBack(t *testing.T) {
	c := made(t, joinCode)
	b, err := c.PNG()
	if err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := read(m); err != nil || got != joinCode {
		t.Errorf("PNG: read %q, %v", got, err)
	}
	if got, err := read(painted(t, c.SVG())); err != nil || got != joinCode {
		t.Errorf("SVG: read %q, %v", got, err)
	}
}

// painted fills the rectangles of an SVG's second path into a picture of its
// size on the white of the first.
func painted(t *testing.T, svg []byte) image.Image {
	t.Helper()
	const scale = 4
	number := func(s string) int {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	box := regexp.MustCompile(`viewBox="0 0 (\d+) (\d+)"`).FindSubmatch(svg)
	if box == nil || !bytes.Contains(svg, []byte(fmt.Sprintf(`<path fill="#fff" d="M0 0h%sv%sH0z"/>`, box[1], box[2]))) {
		t.Fatalf("no white ground of its size:\n%s", svg)
	}
	n := number(string(box[1]))
	m := image.NewGray(image.Rect(0, 0, n*scale, n*scale))
	for i := range m.Pix {
		m.Pix[i] = 255
	}
	for _, r := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1H(\d+)z`).FindAllSubmatch(svg, -1) {
		x, y, w := number(string(r[1])), number(string(r[2])), number(string(r[3]))
		for i := range w * scale * scale {
			m.SetGray(x*scale+i%(w*scale), y*scale+i/(w*scale), color.Gray{})
		}
	}
	return m
}

func TestADrawingHasItsQuietZone(t *testing.T) {
	c := made(t, joinCode)
	n := c.Size()
	for i := range n {
		for j := range 4 {
			if c.at(i, j) || c.at(j, i) || c.at(i, n-1-j) || c.at(n-1-j, i) {
				t.Fatalf("dark %d from the edge", j)
			}
		}
	}
	if !c.at(4, 4) || !c.at(n-5, 4) || !c.at(4, n-5) {
		t.Error("no corners behind the quiet zone")
	}
	lines := strings.Split(strings.TrimSuffix(c.Text(OnLight), "\n"), "\n")
	if len(lines) != (n+1)/2 || len([]rune(lines[0])) != n || n > 80 {
		t.Errorf("%d lines of %d, want %d of %d, at most 80", len(lines), len([]rune(lines[0])), (n+1)/2, n)
	}
}

// Codes of chance text are given readable or not at all.
func TestAnyCodeThatIsGivenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[2-9A-HJKMNP-Z]{5}(-[2-9A-HJKMNP-Z]{5}){0,20}`).Draw(t, "code")
		c, err := Make(text)
		if err != nil {
			t.Fatal(err)
		}
		// The reading library now and then fails at one picture of a code and not
		// at another, so either drawing will do.
		got, err := read(shown(c.Text(OnDark), 255, 0))
		if err != nil {
			got, err = read(shown(c.Text(OnLight), 0, 255))
		}
		if err != nil || got != text {
			t.Fatalf("%s is read as %q, %v", text, got, err)
		}
	})
}

func TestWhatNoCodeHoldsIsRefused(t *testing.T) {
	for _, n := range []int{0, MaxText + 1} {
		if _, err := Make(strings.Repeat("7", n)); err == nil || errors.Is(err, ErrUnreadable) {
			t.Errorf("%d bytes: %v", n, err)
		}
	}
	made(t, strings.Repeat("A", MaxText))
}

func TestADrawingIsAsItIsKept(t *testing.T) {
	c := made(t, joinCode)
	for name, got := range map[string]string{"dark.txt": c.Text(OnDark), "light.txt": c.Text(OnLight), "code.svg": string(c.SVG())} {
		path := filepath.Join("testdata", name)
		if *rewrite {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s is drawn otherwise than kept: run with -rewrite and see the difference", path)
		}
	}
}
