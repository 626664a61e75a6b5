// Package picture draws the numbers of an answer as SVG. It is the one place
// where the page, paper and export get their pictures, so that a curve looks
// and reads the same wherever it is met. It decides nothing about the numbers:
// what is worth a picture, and the finding in words, come with them.
//
// For most uses SVG is all there is to know. It draws curves of steps, bars
// with their intervals, a grid of shares, values followed through the years or
// ranges with the usual part of each, whichever the picture holds. Spark draws a
// line of a few values, small enough for a table's cell. Stylesheet is the style
// that every picture carries inside, for a page that lets no style in but its
// own.
//
// What is promised of every picture:
//
//   - The same numbers give the same bytes. Places are printed with one
//     decimal; nothing is drawn in the order of a map.
//   - It stands alone. It asks for no other file, runs nothing, and carries its
//     colours for light and dark; on paper it is always light.
//   - Nothing is told by colour alone. Curves have dashes and letters too,
//     cells their numbers, a cell that stands out a frame with a corner.
//   - Every text is 4.5 to 1 against what it stands on, and every mark that is
//     not text as well 3 to 1, in light, in dark and on paper (WCAG 2.2).
//   - It stays small: what is less than half a pixel is not drawn.
//   - Text is text: it can be found, copied and read out. What is too long for
//     its place ends in an ellipsis, and is whole in a title inside it.
//   - It is as wide as it is given room, up to 608 pixels. The letters are
//     chosen for a telephone's width; so a grid with many columns goes on
//     below, instead of shrinking.
//   - A curve ends where it was last seen. Beyond that nobody was watched, and
//     a line drawn on would tell a story that nobody knows.
//
// What it does not do: no letter is measured. How wide a text comes out depends
// on the fonts of whoever looks, so widths are guessed from a wide font, and a
// narrow one leaves more air.
package picture
