// Package photo makes of a photo what a page shows: upright, no larger than asked
// for, and without anything that the camera wrote beside the picture, such as the
// place where it was taken. The original stays as it is; what is made here can be
// thrown away and made again.
//
// JPEG, PNG, GIF (its first picture) and WebP are read. Which way is up stands in
// the orientation tag of Exif (JEITA CP-3451, 4.6.4 A, tag 0x0112); the standard
// library does not heed it. The result is a JPEG with no metadata at all, and what
// was transparent is white.
//
// A picture of a few kilobytes can claim to be as large as a wall and fill the
// memory when it is unpacked, so its size is read first and held to MaxPixels and
// MaxMemory, and one is made at a time.
//
// What it does not do: colours are taken as sRGB; a wider space that the original
// names is left out, and its strong colours come out a little paler.
package photo
