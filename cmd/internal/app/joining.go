package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"oldhand/events"
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
func readCodes(dir string) (list []openCode, err error) {
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
		if time.Since(c.Made) > 2*invite.Life {
			_ = os.Remove(path) // it is dead; that it lies there hurts nobody
			continue
		}
		list = append(list, c)
	}
	return list, err
}

// Invitation is a join code, to be read to the other bench.
type Invitation struct {
	Code      string   `json:"code"`
	Until     string   `json:"until"`
	Addresses []string `json:"addresses"`
}

// Invite makes a join code for one bench, good for ten minutes. An exchange must
// be hosted from this folder.
func (s *Shop) Invite() (in Invitation, err error) {
	var hosted Hosted
	err = readJSON(filepath.Join(s.Dir, exchangeDir, hostFile), &hosted)
	if errors.Is(err, fs.ErrNotExist) {
		return in, &NotHere{"a join code", "leads to an exchange, and none is hosted here; start one in another window: oldhand host"}
	}
	if err != nil {
		return in, err
	}
	if _, err := s.ownerKey(); err != nil {
		return in, &NotHere{"the owner's key", "is not in this folder; invite from the bench that has it"}
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
	path := filepath.Join(codesDir(s.Dir), events.BenchID(guest).String()+".json")
	if err := writeJSON(path, openCode{guest, now}); err != nil {
		return in, err
	}
	in = Invitation{Until: now.Add(invite.Life).Format("15:04"), Addresses: hosted.Addresses}
	in.Code, err = code.Text()
	return in, err
}

// Joined says what joining came to.
type Joined struct {
	Folder string `json:"folder"`
	Card
	Met Met `json:"met"`
}

// Join makes this machine a bench of the shop that a code leads to.
func Join(ctx context.Context, dir, typed, name string, addresses []string, o Options) (j Joined, err error) {
	if err := mustBeFree(dir); err != nil {
		return j, err
	}
	code, err := invite.Read(typed)
	if err != nil {
		return j, &Wrong{"the join code", err.Error()}
	}
	if len(addresses) == 0 {
		addresses = code.Addresses
	}
	if len(addresses) == 0 {
		return j, &Wrong{"the join code", "names no address; say it behind the code, such as 192.168.1.20:4222"}
	}
	key, err := events.NewBenchKey()
	if err != nil {
		return j, err
	}
	answer, err := askToJoin(ctx, code, addresses, key, name)
	if err != nil {
		return j, err
	}
	j.Folder = dir
	j.Card = Card{1, answer.Founding.Shop().String(), answer.Founding.Name, name, answer.Admission.Number}
	if err := layJoined(dir, j.Card, key, answer, KnownExchange{addresses, pinText.EncodeToString(code.Pin[:])}); err != nil {
		return j, err
	}
	s, err := open(dir, o, true)
	if err != nil {
		return j, err
	}
	j.Met, err = s.Sync(ctx, nil, nil)
	if err != nil {
		err = fmt.Errorf("the bench belongs to the shop now; what others have could not all be had yet (go on with: oldhand sync): %w", err)
	}
	return j, errors.Join(err, s.Close())
}

// askToJoin asks the host twice: what the shop is, and to belong to it.
func askToJoin(ctx context.Context, code invite.Code, addresses []string, key events.BenchKey, name string) (a invite.Answer, err error) {
	login, err := code.Login()
	if err != nil {
		return a, err
	}
	dial := exchange.DialOptions{Addrs: addresses, Start: code.Pin[:], Key: login}
	b, err := exchange.Ask(ctx, dial, nil)
	for range 5 { // the host may be about to hear of a code that was made this moment
		if !errors.Is(err, exchange.ErrNotAdmitted) {
			break
		}
		time.Sleep(2 * lookEvery)
		b, err = exchange.Ask(ctx, dial, nil)
	}
	if errors.Is(err, exchange.ErrNotAdmitted) {
		return a, &Wrong{"the join code", "is not one that the host has open: it may have been used, be older than ten minutes, or be for another exchange"}
	}
	if err != nil {
		return a, err
	}
	founding, err := readFounding(b)
	if err != nil {
		return a, err
	}
	req, err := code.Ask(founding, key, name)
	if err != nil {
		return a, err
	}
	if b, err = req.Encode(); err != nil {
		return a, err
	}
	if b, err = exchange.Ask(ctx, dial, b); err != nil {
		return a, err
	}
	if a, err = invite.DecodeAnswer(b); err != nil {
		return a, err
	}
	bench, err := key.Public()
	if err != nil {
		return a, err
	}
	_, err = a.Verify(code, bench)
	return a, err
}

func readFounding(b []byte) (f events.ShopFounded, err error) {
	body, err := events.DecodeBody(events.KindShopFounded, 1, b)
	if err != nil {
		if a, e := invite.DecodeAnswer(b); e == nil && a.Refused != "" {
			return f, &Wrong{"joining", "was refused: " + a.Refused}
		}
		return f, fmt.Errorf("what the host says of the shop: %w", err)
	}
	return body.(events.ShopFounded), nil
}

// layJoined writes the folder of a bench that joined; its card last.
func layJoined(dir string, c Card, key events.BenchKey, a invite.Answer, k KnownExchange) error {
	if err := layKeys(dir, map[string]events.BenchKey{"bench.key": key}); err != nil {
		return err
	}
	b, err := a.Encode()
	if err != nil {
		return err
	}
	if err := writeWhole(filepath.Join(dir, answerFile), b); err != nil {
		return err
	}
	if err := rememberExchange(dir, k); err != nil {
		return err
	}
	return layCard(dir, c)
}
