package bundle

// WriteFileOn is WriteFile on another file system.
var WriteFileOn = writeFile

const (
	HeadsAPart = headsAPart
	MaxParts   = maxParts
)
