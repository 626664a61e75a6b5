package tags

import (
	"encoding/binary"
	"hash/crc32"
)

// withDensity puts a pHYs chunk into a PNG, behind its first chunk, as the format
// wants it: pixels a metre in both directions, then 1 for the metre.
func withDensity(png []byte, perMetre uint32) []byte {
	const behindIHDR = 8 + 4 + 4 + 13 + 4 // signature; length, type, data and sum of IHDR
	chunk := binary.BigEndian.AppendUint32(nil, 9)
	chunk = append(chunk, "pHYs"...)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = append(chunk, 1)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	return append(append(append([]byte{}, png[:behindIHDR]...), chunk...), png[behindIHDR:]...)
}
