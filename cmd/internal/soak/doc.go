// Command soak has three benches work for an hour as a shop does, while what can
// happen to laptops happens to them.
package main
