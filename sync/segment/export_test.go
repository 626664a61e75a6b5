package segment

// HeaderSize is how much of a segment is in clear.
const HeaderSize = headerSize
