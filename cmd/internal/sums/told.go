package sums

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Told is an answer for people.
type Told struct {
	Tables  []Table
	Words   []string // sentences
	Unread  []string // what was asked and can't be read, each with why
	Caution Caution  // which one has to stand beside it
}

// Table is rows under headings.
type Table struct {
	Caption string
	Head    []string
	Rows    [][]string
	Numbers map[int]bool // columns of numbers
}

// Caution is a kind of caution; the words of each are package app's.
type Caution uint8

// The cautions.
const (
	NoCaution      Caution = iota
	OfLeakage              // somebody is about to touch a set under power, or has
	OfStoredCharge         // a charge that may still be there
)

// Answer is what a sum gives.
type Answer interface{ Told() Told }

// figure is a number with so many digits that count, without an exponent.
func figure(v float64, digits int) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	decimals := digits - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	text := strconv.FormatFloat(v, 'f', max(0, decimals), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// decibels is a level or a ratio with one decimal and its sign.
func decibels(v float64) string {
	text := strconv.FormatFloat(v, 'f', 1, 64)
	if text == "-0.0" {
		text = "0.0"
	}
	return text + " dB"
}

// listed is "a, b and c".
func listed(words []string, last string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " " + last + " " + words[n-1]
}

// numbers are texts of whole numbers.
func numbers(list []int) (texts []string) {
	for _, n := range list {
		texts = append(texts, strconv.Itoa(n))
	}
	return texts
}

// nothing is the error where none of what was asked could be read.
func nothing(unread []string) error {
	return fmt.Errorf("%s", strings.Join(unread, "; "))
}
