// Package planted is for bugs that are planted on purpose, to see whether the
// tests catch them. Where a bug could be, the code asks Bug by name; it is
// always false, and gone from what is compiled, but for a build with the tag
// "planted", in which a test chooses one:
//
//	go test -tags planted ./sync/benchtest -run Planted -v
//
// Each bug is one that was made somewhere, or would be easy to make. One that
// the tests do not catch is a hole in the tests.
package planted
