package web_test

import (
	"bytes"
	"encoding/base64"
	"net/http"
	"testing"

	"oldhand/events/sharedtest"

	"github.com/chromedp/chromedp"
)

// record has the browser record a tone, or a canvas that changes, with its own
// recorder: a writer of ISO/IEC 14496-12 files outside this project.
const record = `window.made = ''; (async () => {
	const type = %TYPE%;
	if (!MediaRecorder.isTypeSupported(type)) { window.made = 'none'; return }
	let stream;
	if (type.startsWith('audio')) {
		const hear = new AudioContext(), tone = hear.createOscillator(), out = hear.createMediaStreamDestination();
		tone.connect(out); tone.start(); stream = out.stream;
	} else {
		const canvas = document.createElement('canvas'); canvas.width = canvas.height = 64;
		const pen = canvas.getContext('2d'); let n = 0;
		setInterval(() => { pen.fillStyle = n++ % 2 ? 'red' : 'blue'; pen.fillRect(0, 0, 64, 64) }, 40);
		stream = canvas.captureStream(25);
	}
	const to = new MediaRecorder(stream, {mimeType: type}), parts = [];
	to.ondataavailable = e => parts.push(e.data);
	to.onstop = async () => {
		let text = ''; for (const b of new Uint8Array(await new Blob(parts).arrayBuffer())) text += String.fromCharCode(b);
		window.made = btoa(text);
	};
	to.start(); setTimeout(() => to.stop(), 1500);
})().catch(e => { window.made = 'failed ' + e }); true`

func (b *tab) records(mediaType string) []byte {
	b.t.Helper()
	script := bytes.ReplaceAll([]byte(record), []byte("%TYPE%"), []byte("'"+mediaType+"'"))
	must(chromedp.Run(b.ctx, chromedp.Evaluate[bool](string(script))))
	b.until(`window.made`)
	made := must(chromedp.Run(b.ctx, chromedp.Evaluate[string](`window.made`)))
	if made == "none" {
		sharedtest.Skip(b.t, "this Chromium records no "+mediaType)
	}
	data, err := base64.StdEncoding.DecodeString(made)
	if err != nil || len(data) < 200 {
		b.t.Fatalf("%.200s: %v", made, err)
	}
	return data
}

// What a browser records as sound in an MP4 file is kept, also under no brand of
// sound; what it films is refused by name.
func TestARecordingThatABrowserMadeIsKeptAndItsFilmIsNot(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	b := newTab(t, s.web.Address(), chromedp.Flag("autoplay-policy", "no-user-gesture-required"))
	b.do(chromedp.Navigate(s.web.Start()))
	b.at("/")
	sound := b.records("audio/mp4")
	t.Logf("the browser's recording: %d bytes, brand %q", len(sound), sound[8:12])
	status, page := s.attaches(tag, nil, named{"hum.m4a", sound})
	if status != http.StatusOK {
		t.Fatalf("status %d: %.2000s", status, page)
	}
	wants(t, page, "hum.m4a")
	film := b.records("video/mp4")
	t.Logf("the browser's film: %d bytes, brand %q", len(film), film[8:12])
	status, page = s.attaches(tag, nil, named{"hum.m4a", film})
	if status != http.StatusUnprocessableEntity {
		t.Errorf("a film: status %d", status)
	}
	wants(t, page, "is a film, and films are not kept")
}
