package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/events/wholefile"
	"oldhand/sync/exchange"
	"oldhand/sync/roster/invite"
)

// openCode is what a folder keeps of a join code: nothing that opens a door.
type openCode struct {
	Guest invite.Guest `json:"guest"`
	Made  time.Time    `json:"made"`
}

func codesDir(dir string) string { return filepath.Join(dir, exchangeDir, "codes") }

// readCodes reads the codes that were made lately. Old ones are taken away.
func readCodes(dir string, now time.Time) (list []openCode, err error) {
	entries, err := os.ReadDir(codesDir(dir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	for _, e := range entries {
		path := filepath.Join(codesDir(dir), e.Name())
		var c openCode
		if filepath.Ext(path) != ".json" {
			continue
		}
		if err := readJSON(path, &c); err != nil {
			return nil, err
		}
		if now.Sub(c.Made) > 2*invite.Life {
			_ = os.Remove(path) // it is dead; that it lies there hurts nobody
			continue
		}
		list = append(list, c)
	}
	return list, err
}

// codePath is where a code is kept until a bench joined with it.
func codePath(dir string, g invite.Guest) string {
	return filepath.Join(codesDir(dir), events.BenchID(g).String()+".json")
}

// dropCode takes a code out of the world, before anybody is let in by it: a host
// that is started anew must not know it.
func dropCode(dir string, g invite.Guest) error {
	if err := os.Remove(codePath(dir, g)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("take a used join code away: %w", err)
	}
	return nil
}

// Invitation is a join code, to be read to the other bench.
type Invitation struct {
	Code      string   `json:"code"`
	Until     string   `json:"until"`
	Addresses []string `json:"addresses"`
	Servers   []string `json:"servers,omitempty"` // where the shop meets besides, and must let the bench in too
}

// Invite makes a join code for one bench, good for ten minutes. An exchange must
// be hosted from this folder.
func (s *Shop) Invite() (in Invitation, err error) {
	var hosted Hosted
	err = readJSON(filepath.Join(s.Dir, exchangeDir, hostFile), &hosted)
	if err == nil {
		err = answers(hosted)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return in, &NotHere{"a join code", "leads to the bench that hosts, and nothing is hosted here now; start it in another window: oldhand host"}
	}
	if err != nil {
		return in, err
	}
	if _, err := s.ownerKey(); err != nil {
		return in, &NotHere{"the owner's key", "is not in this folder; invite from the bench that has it, or bring the spare key in: oldhand owner-key use"}
	}
	founding, err := s.foundingFact()
	if err != nil {
		return in, err
	}
	pin, err := KnownExchange{Pin: hosted.Pin}.start()
	if err != nil {
		return in, err
	}
	var secret invite.Secret
	if err := random(secret[:]); err != nil {
		return in, err
	}
	now := s.now()
	_, code, err := invite.Invites{}.New(invite.Code{Pin: invite.Pin(pin), Owner: invite.TagOf(founding), Addresses: hosted.Addresses}, secret, now)
	if err != nil {
		return in, err
	}
	login, err := code.Login()
	if err != nil {
		return in, err
	}
	guest, err := invite.GuestOf(login)
	if err != nil {
		return in, err
	}
	if err := os.MkdirAll(codesDir(s.Dir), 0o700); err != nil {
		return in, err
	}
	path := codePath(s.Dir, guest)
	if err := writeJSON(path, openCode{guest, now}); err != nil {
		return in, err
	}
	in = Invitation{Until: now.Add(invite.Life).Format("15:04"), Addresses: hosted.Addresses}
	if in.Servers, err = ClusterPlaces(s.Dir); err != nil && !errors.As(err, new(*PlacesLost)) {
		return in, err
	}
	in.Code, err = code.Text()
	return in, err
}

// answers looks whether what was hosted still is: a host that was cut off leaves
// its file behind.
func answers(h Hosted) error {
	for _, at := range h.Addresses {
		c, err := net.DialTimeout("tcp", at, time.Second)
		if err == nil {
			return c.Close()
		}
	}
	return fs.ErrNotExist
}

// Joined says what joining came to.
type Joined struct {
	Folder string `json:"folder"`
	Card
	Met  Met    `json:"met"`
	Note string `json:"note,omitempty"` // why not all could be had yet
}

// Join makes this machine a bench of the shop that a code leads to. Typed are
// the code, in pieces or not, and addresses in place of those in it.
func Join(ctx context.Context, dir string, typed []string, name string, o Options) (j Joined, err error) {
	if err := mayJoin(dir); err != nil {
		return j, err
	}
	if err := noFiles(typed); err != nil {
		return j, err
	}
	text, addresses, err := codeAndAddresses(typed)
	if err != nil {
		return j, err
	}
	code, err := invite.Read(text)
	if err != nil {
		return j, wrongCode(err)
	}
	if len(addresses) > 0 {
		code.Addresses = addresses
	}
	answer, key, err := askSomewhere(ctx, dir, &code, len(addresses) > 0, name, o)
	if err != nil {
		return j, err
	}
	j.Folder = dir
	j.Card = Card{1, answer.Founding.Shop().String(), answer.Founding.Name, name, answer.Admission.Number}
	if err := layJoined(dir, j.Card, answer, KnownExchange{Addresses: code.Addresses, Pin: pinText.EncodeToString(code.Pin[:])}); err != nil {
		return j, err
	}
	return j, j.meet(ctx, o, key)
}

// noFiles says to who comes with a bundle alone what lets him in.
func noFiles(typed []string) error {
	for _, t := range typed {
		if info, err := os.Stat(t); err == nil && info.Mode().IsRegular() && strings.ContainsAny(t, "./") {
			return &Wrong{t, "is a file, and no file lets a new bench in; a join code does: at the bench with the owner's key type oldhand host, and oldhand invite in another window; for as long as that takes both machines must be in one network, afterwards files do"}
		}
	}
	return nil
}

// meet takes over what the others have. If that is not to be had now, the bench
// belongs to the shop all the same.
func (j *Joined) meet(ctx context.Context, o Options, key events.BenchKey) error {
	if err := forgetWitness(key, o); err != nil {
		return err
	}
	s, err := open(j.Folder, o, true)
	if err != nil {
		return err
	}
	j.Met = Met{WaitsFor: []string{}, NotHeeded: []string{}}
	if err := s.firstMeeting(ctx, &j.Met); err != nil {
		j.Note = "what the others have could not all be had yet: " + err.Error()
	}
	return s.Close()
}

// untilAdmitted is how long a bench that joined waits for the host to pass its
// admission on.
const untilAdmitted = 10 * time.Second

// firstMeeting meets until the bench's own admission is here as the others have
// it: what it carries to them in a file must show that it belongs.
func (s *Shop) firstMeeting(ctx context.Context, sum *Met) error {
	r, err := Reach(ctx, s.Dir, nil)
	if err != nil {
		return err
	}
	defer r.Close()
	own, err := s.key.Public()
	if err != nil {
		return err
	}
	for begun := time.Now(); ; {
		m, err := s.Meet(ctx, r, Patient, nil)
		if err != nil {
			return err
		}
		m.Took += sum.Took
		*sum = m
		in, err := s.Roster()
		if _, ok := in.Bench(own); ok || err != nil || time.Since(begun) > untilAdmitted {
			return err
		}
		pauseFor(ctx, lookEvery)
	}
}

// mayJoin refuses a folder that holds anything but the key of a bench that
// asked to join before and did not hear the answer.
func mayJoin(dir string) error {
	entries, err := os.ReadDir(filepath.Join(dir, "keys"))
	above, _ := os.ReadDir(dir)
	if err == nil && len(above) == 1 && len(entries) == 1 && entries[0].Name() == benchKeyFile {
		return nil
	}
	return mustBeFree(dir)
}

const benchKeyFile = "bench.key"

// joiningKey is the key that the folder's bench asked with before, or one that
// is laid there. A bench whose answer was lost asks again as the same bench.
func joiningKey(dir string) (events.BenchKey, error) {
	seed, err := os.ReadFile(filepath.Join(dir, "keys", benchKeyFile))
	if err == nil {
		return events.BenchKeyFrom(trimNewline(seed))
	}
	key, err := events.NewBenchKey()
	if err != nil {
		return key, err
	}
	return key, layKeys(dir, map[string]events.BenchKey{benchKeyFile: key})
}

// unlayKey takes away the key of a bench that surely does not belong.
func unlayKey(dir string) {
	for _, path := range []string{filepath.Join(dir, "keys", benchKeyFile), filepath.Join(dir, "keys"), dir} {
		_ = os.Remove(path) // an empty folder that stays does no harm
	}
}

// joinTimeout is how long the host may take to answer: it waits for its folder,
// writes the admission and gives it to the exchange before it does.
const joinTimeout = 30 * time.Second

// askToJoin asks the host twice: what the shop is, and to belong to it.
func askToJoin(ctx context.Context, dir string, code invite.Code, name string) (a invite.Answer, key events.BenchKey, err error) {
	login, err := code.Login()
	if err != nil {
		return a, key, err
	}
	o := exchange.DialOptions{Addrs: code.Addresses, Start: code.Pin[:], Key: login, Timeout: joinTimeout}
	b, err := ask(ctx, o, nil)
	if err != nil {
		return a, key, err
	}
	founding, err := readFounding(b)
	if err != nil {
		return a, key, err
	}
	if key, err = joiningKey(dir); err != nil {
		return a, key, err
	}
	req, err := code.Ask(founding, key, name)
	if err == nil {
		b, err = req.Encode()
	}
	if err != nil {
		unlayKey(dir)
		return a, key, err
	}
	if b, err = ask(ctx, o, b); err != nil {
		return a, key, err
	}
	if a, err = readAnswer(b); err != nil {
		unlayKey(dir)
		return a, key, err
	}
	bench, err := key.Public()
	if err == nil {
		_, err = a.Verify(code, bench)
	}
	return a, key, err
}

// ask asks a host, which may be about to hear of a code that was made this
// moment.
func ask(ctx context.Context, o exchange.DialOptions, request []byte) ([]byte, error) {
	b, err := exchange.Ask(ctx, o, request)
	for tries := 0; tries < mostTries && (passing(err) || errors.Is(err, exchange.ErrNotAdmitted)) && ctx.Err() == nil; tries++ {
		pauseFor(ctx, 2*lookEvery)
		b, err = exchange.Ask(ctx, o, request)
	}
	return b, notAsked(ctx, strings.Join(o.Addrs, " or "), err)
}

// notAsked says in words why a host did not answer.
func notAsked(ctx context.Context, at string, err error) error {
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return errors.New("stopped before this machine belonged to the shop; type the command again")
	case errors.Is(err, exchange.ErrNotAdmitted):
		return &Wrong{"the code", "is not open at " + at + ": it was used, or given up after wrong tries, or is older than ten minutes; make another there with: oldhand invite"}
	case errors.Is(err, exchange.ErrWrongPin):
		return &nobody{Wrong{"the code", "is not for what answers at " + at + "; make another where the benches meet now, with: oldhand invite"}}
	case nobodyAnswers(err):
		return &nobody{Wrong{"joining", "nobody answers at " + at + "; is oldhand host running there, and are both machines in one network?"}}
	}
	return fmt.Errorf("ask at %s to join: %w", at, err)
}

func readAnswer(b []byte) (invite.Answer, error) {
	a, err := invite.DecodeAnswer(b)
	if err == nil && a.Refused != "" {
		err = &Wrong{"joining was refused", a.Refused}
	}
	return a, err
}

func readFounding(b []byte) (f events.ShopFounded, err error) {
	body, err := events.DecodeBody(events.KindShopFounded, 1, b)
	if err != nil {
		if _, refused := readAnswer(b); errors.As(refused, new(*Wrong)) {
			return f, refused
		}
		return f, fmt.Errorf("what the host says of the shop: %w", err)
	}
	return body.(events.ShopFounded), nil
}

// layJoined writes the folder of a bench that joined, beside its key; its card
// last.
func layJoined(dir string, c Card, a invite.Answer, k KnownExchange) error {
	b, err := a.Encode()
	if err != nil {
		return err
	}
	if err := wholefile.Write(filepath.Join(dir, answerFile), b); err != nil {
		return err
	}
	if err := rememberExchange(dir, k); err != nil {
		return err
	}
	return layCard(dir, c)
}
