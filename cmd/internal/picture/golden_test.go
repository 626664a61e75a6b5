package picture

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write the kept pictures anew; look at them before they are committed")

func TestPicturesAreAsKept(t *testing.T) {
	for name, p := range samples() {
		svg, err := SVG(p)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		compareKept(t, name, svg)
	}
	compareKept(t, "spark", Spark([]float64{3, 4, 2, math.NaN(), 8, 6, 9.5}, "units a month"))
}

func compareKept(t *testing.T, name string, svg []byte) {
	t.Helper()
	path := filepath.Join("testdata", name+".svg")
	if *rewrite {
		if err := os.WriteFile(path, svg, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	kept, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(kept, svg) {
		t.Errorf("%s is drawn otherwise than kept: run with -rewrite, look at it, and see the difference", path)
	}
}

func TestTheSameNumbersGiveTheSameBytes(t *testing.T) {
	for name := range samples() {
		a, err := SVG(samples()[name])
		if err != nil {
			t.Fatal(err)
		}
		for range 5 {
			if b, err := SVG(samples()[name]); err != nil || !bytes.Equal(a, b) {
				t.Errorf("%s: other bytes the second time (%v)", name, err)
			}
		}
	}
}
