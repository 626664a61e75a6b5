package evidence

import (
	"bytes"
	"io"
	"net/http"
	"slices"
	"strings"
)

// TypeOf is the media type of what begins with head, by its bytes; empty where it
// is none that is kept, or where only the whole file tells, as of a telephone's
// recording. At least 4 KiB of it, where there are so many, are enough.
func TypeOf(head []byte) string {
	switch t := http.DetectContentType(head); t { // WHATWG MIME Sniffing
	case "image/jpeg", "image/png", "image/gif", "image/webp", "audio/mpeg", "application/pdf":
		return t
	case "audio/wave":
		return "audio/wav"
	}
	switch {
	case isMP4Sound(head):
		return "audio/mp4"
	case isOggSound(head):
		return "audio/ogg"
	case isMP3(head):
		return "audio/mpeg"
	}
	return ""
}

// Sort is what people call a media type: photo, recording or document; empty
// where it is none that is kept.
func Sort(mediaType string) string {
	switch {
	case slices.Contains([]string{"image/jpeg", "image/png", "image/gif", "image/webp"}, mediaType):
		return "photo"
	case slices.Contains([]string{"audio/mpeg", "audio/wav", "audio/mp4", "audio/ogg"}, mediaType):
		return "recording"
	case mediaType == "application/pdf":
		return "document"
	}
	return ""
}

// Endings are those that a file's name has by its media type, the usual one
// first.
func Endings(mediaType string) []string {
	return map[string][]string{
		"image/jpeg":      {".jpg", ".jpeg"},
		"image/png":       {".png"},
		"image/gif":       {".gif"},
		"image/webp":      {".webp"},
		"audio/mpeg":      {".mp3"},
		"audio/wav":       {".wav"},
		"audio/mp4":       {".m4a", ".m4b"},
		"audio/ogg":       {".ogg", ".oga", ".opus"},
		"application/pdf": {".pdf"},
	}[mediaType]
}

// typeIn is the media type of a file of which head is the beginning. It fails with
// ErrType or ErrFilm.
func typeIn(head []byte, r io.ReaderAt, size int64) (string, error) {
	if t := TypeOf(head); t != "" {
		return t, nil
	}
	if isBoxes(head) {
		return soundOf(r, size)
	}
	return "", ErrType
}

// isMP4Sound looks at the major brand of an ISO base media file (ISO/IEC
// 14496-12, section 4.3): these two are given to nothing but sound. Films name M4A
// among the brands that they are compatible with.
func isMP4Sound(b []byte) bool {
	return isBoxes(b) && (string(b[8:12]) == "M4A " || string(b[8:12]) == "M4B ")
}

// isOggSound looks at what the first packet of an Ogg file (RFC 3533) is of:
// Vorbis, Opus (RFC 7845), Speex or FLAC.
func isOggSound(b []byte) bool {
	if len(b) < 28 || string(b[:4]) != "OggS" {
		return false
	}
	packet := b[min(27+int(b[26]), len(b)):]
	for _, of := range []string{"\x01vorbis", "OpusHead", "Speex   ", "\x7fFLAC"} {
		if bytes.HasPrefix(packet, []byte(of)) {
			return true
		}
	}
	return false
}

// isMP3 looks for two frames of MPEG audio layer III, one behind the other
// (ISO/IEC 11172-3, section 2.4.1.3): one alone is 11 bits that many files have.
func isMP3(b []byte) bool {
	n := mp3Frame(b)
	return n > 0 && n < len(b) && mp3Frame(b[n:]) > 0
}

// Bit rates of layer III in kbit/s by their index, of MPEG-1 and of MPEG-2 and 2.5.
var (
	rates1 = [16]int{0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320}
	rates2 = [16]int{0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160}
)

// mp3Frame is the length of the frame at the start of b, zero where there is none.
func mp3Frame(b []byte) int {
	if len(b) < 4 || b[0] != 0xFF || b[1]&0xE6 != 0xE2 { // 11 bits of sync, layer III
		return 0
	}
	version := b[1] >> 3 & 3 // 3 is MPEG-1, 2 is MPEG-2, 0 is MPEG-2.5
	if version == 1 || b[2]>>2&3 == 3 {
		return 0
	}
	hertz := [3]int{44_100, 48_000, 32_000}[b[2]>>2&3]
	rate, samples := rates1[b[2]>>4], 144
	if version != 3 {
		rate, samples, hertz = rates2[b[2]>>4], 72, hertz/2
	}
	if version == 0 {
		hertz /= 2
	}
	if rate == 0 {
		return 0
	}
	return samples*rate*1000/hertz + int(b[2]>>1&1)
}

// FileName is a name that a piece can be written under anywhere: the last part
// of what somebody named it, without what a file system or a screen could take for
// something else, and with an ending of its media type.
func FileName(name, mediaType string) string {
	name = CleanName(name)
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`<>:"|?*`, r) {
			return '-'
		}
		return r
	}, name)
	endings := Endings(mediaType)
	ending := ".bin"
	if len(endings) > 0 {
		ending = endings[0]
	}
	for _, e := range endings {
		if strings.HasSuffix(strings.ToLower(name), e) {
			name, ending = name[:len(name)-len(e)], name[len(name)-len(e):]
		}
	}
	name = strings.Trim(name, ". ")
	if name == "" || reserved(name) {
		name = "piece"
	}
	return name + ending
}

// reserved reports whether Windows takes a name for a device.
func reserved(name string) bool {
	stem, _, _ := strings.Cut(strings.ToUpper(name), ".")
	switch strings.TrimSpace(stem) {
	case "CON", "PRN", "AUX", "NUL":
		return true
	}
	return len(stem) == 4 && (stem[:3] == "COM" || stem[:3] == "LPT") && stem[3] >= '0' && stem[3] <= '9'
}
