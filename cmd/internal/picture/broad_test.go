package picture

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func broad(t *testing.T, columns int, name string) Broad {
	t.Helper()
	d, ok, err := BroadGrid(wideGrid(columns, name))
	if err != nil || !ok {
		t.Fatalf("%d columns are not drawn broad: %v", columns, err)
	}
	return d
}

// Each column stands once, on one line, in its order, with what is not known last
// and apart; and each name of a row stands at the height of its cells.
func TestABroadGridIsOneGrid(t *testing.T) {
	d := broad(t, 40, "%d")
	at, line, step, least := -1.0, -1.0, 0.0, widthOf("1925", smallLetters)
	cells := parsed(t, d.Cells)
	for j := 1; j < 40; j++ {
		found := 0
		for _, n := range only(cells, "text") {
			if n.text != fmt.Sprint(1925+j) {
				continue
			}
			found++
			if step = n.at(t, "x") - at; at > 0 && (step < least || step > least+3 || n.at(t, "y") != line) {
				t.Errorf("column %d stands %.1f behind the one before it", j, step)
			}
			at, line = n.at(t, "x"), n.at(t, "y")
		}
		if found != 1 {
			t.Fatalf("column %d is named %d times", j, found)
		}
	}
	for _, n := range only(cells, "text") {
		if n.text == "known" && n.at(t, "x") < at+step+unknownGap {
			t.Errorf("what is not known stands at %.1f, the last year at %.1f", n.at(t, "x"), at)
		}
	}
	heights := map[float64]int{}
	for _, n := range only(cells, "text") {
		if strings.HasPrefix(n.attr["class"], "on") {
			heights[n.at(t, "y")]++
		}
	}
	if len(heights) != 3 {
		t.Errorf("cells stand at %d heights, want the 3 of the rows", len(heights))
	}
	for _, row := range []string{"units", "dial cord broken"} {
		for _, n := range only(parsed(t, d.Names), "text") {
			if n.text == row && row != "units" && !nearOne(heights, n.at(t, "y")) {
				t.Errorf("%s stands at %.1f, its cells at %v", row, n.at(t, "y"), heights)
			}
		}
		if !strings.Contains(string(d.Names), ">"+row+"<") {
			t.Errorf("the names have no %q", row)
		}
	}
}

func nearOne(heights map[float64]int, y float64) bool {
	for h := range heights {
		if math.Abs(h-y) < 2 {
			return true
		}
	}
	return false
}

// Nothing leaves its part, and one of the three speaks for all.
func TestThePartsOfABroadGridHoldWhatIsDrawn(t *testing.T) {
	for _, c := range []struct {
		columns int
		name    string
	}{{12, "%d"}, {60, "%d"}, {20, "Varnholt VH-%d Studio"}} {
		d := broad(t, c.columns, c.name)
		for part, svg := range map[string][]byte{"names": d.Names, "cells": d.Cells} {
			nodes := parsed(t, svg)
			var w, h float64
			if _, err := fmt.Sscanf(nodes[0].attr["viewBox"], "0 0 %f %f", &w, &h); err != nil {
				t.Fatal(err)
			}
			for _, n := range only(nodes, "text") {
				x, wide := n.at(t, "x"), widthOf(n.text, smallLetters)
				switch {
				case n.attr["transform"] != "":
					wide /= 2 // slanting, by 60 degrees
				case n.attr["text-anchor"] == "middle" || strings.HasPrefix(n.attr["class"], "on"):
					x -= wide / 2
				}
				if x < -0.1 || x+wide > w+0.1 || n.at(t, "y") > h {
					t.Errorf("%d columns, %s: %q from %.1f to %.1f leaves %.1f by %.1f", c.columns, part, n.text, x, x+wide, w, h)
				}
			}
			if nodes[0].attr["aria-hidden"] != "true" || nodes[0].attr["role"] != "" {
				t.Errorf("%s speaks for itself: %v", part, nodes[0].attr)
			}
		}
		if head := parsed(t, d.Head)[0]; head.attr["role"] != "img" || head.attr["aria-labelledby"] == "" {
			t.Errorf("the head is %v", head.attr)
		}
	}
}

func TestAGridThatFitsIsNotDrawnBroad(t *testing.T) {
	if _, ok, err := BroadGrid(someGrid()); ok || err != nil {
		t.Error(ok, err)
	}
	if _, ok, err := BroadGrid(someBars()); ok || err != nil {
		t.Error(ok, err)
	}
	bad := wideGrid(40, "%d")
	bad.Heat.Cells[0][0].Share = 2
	if _, _, err := BroadGrid(bad); err == nil {
		t.Error("a share of 2 is drawn")
	}
}
