package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"brimline/api"
	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/server/auth"
	"brimline/server/store"
	"brimline/server/web"
	"brimline/sync/merge"
)

// The server is killed so often, under so many phones that push.
const (
	kills       = 20
	killWriters = 4
)

const killPassword = "a long enough password"

func killID(kind string, n int) string {
	return fmt.Sprintf("01900000-0000-7000-8000-%s%0*x", kind, 12-len(kind), n)
}

// TestKillLosesNothing kills the real server, kill -9, while phones push to it,
// and starts it again on the same data. A phone sends what was not acknowledged
// again under the same ids. In the end everything acknowledged is there, once.
func TestKillLosesNothing(t *testing.T) {
	folder := t.TempDir()
	bin := filepath.Join(folder, "brimline")
	if out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput(); err != nil {
		t.Fatalf("build server: %v\n%s", err, out)
	}
	data := filepath.Join(folder, "data")
	profile := killRecords(t, data)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))

	phones := make([]*killPhone, killWriters)
	for i := range phones {
		phones[i] = &killPhone{number: i, profile: profile, held: map[string]int64{}}
	}
	first := startServer(t, bin, data)
	for _, phone := range phones { // in peace: hashing passwords takes longer than a round
		if err := phone.signIn(first.address); err != nil {
			t.Fatal(err)
		}
	}
	first.kill(t)
	for round := range kills {
		p := startServer(t, bin, data)
		var wg sync.WaitGroup
		failures := make(chan error, killWriters)
		for _, phone := range phones {
			wg.Go(func() { failures <- phone.work(p.address) })
		}
		time.Sleep(time.Duration(20+random.IntN(130)) * time.Millisecond)
		p.kill(t)
		wg.Wait()
		for range phones {
			if err := <-failures; err != nil {
				t.Fatalf("round %d: %v", round, err)
			}
		}
	}

	p := startServer(t, bin, data)
	defer p.kill(t)
	found := pulledEvents(t, p.address, phones[0])
	acknowledged, lost := 0, 0
	for _, phone := range phones {
		acknowledged += len(phone.held)
		for id, seq := range phone.held {
			if found[id] != seq {
				lost++
				t.Errorf("event %s was acknowledged as number %d and is there as %d", id, seq, found[id])
			}
		}
	}
	if acknowledged < kills {
		t.Errorf("only %d events were acknowledged in %d rounds: nothing was tested", acknowledged, kills)
	}
	t.Logf("%d kills, %d events acknowledged, %d lost, %d stored", kills, acknowledged, lost, len(found))
}

// killRecords makes the workshop the phones work in.
func killRecords(t *testing.T, data string) schema.Profile {
	t.Helper()
	ctx := t.Context()
	var profile schema.Profile
	raw, err := os.ReadFile(filepath.Join("demo", "data", "profile-8l.json"))
	s, openErr := store.Open(ctx, data, web.Replay)
	hash, hashErr := auth.HashPassword(killPassword)
	if err := errors.Join(err, openErr, hashErr, json.Unmarshal(raw, &profile)); err != nil {
		t.Fatal(err)
	}
	fill, err := s.AddWorkshop(ctx, schema.Workshop{ID: schema.WorkshopID(killID("a", 1)), Name: "red", TimeZone: "Europe/Berlin"}, 1)
	err = errors.Join(err, s.PutProfile(ctx, fill, profile, 1),
		s.PutUnit(ctx, fill, schema.Unit{ID: schema.UnitID(killID("e", 1)), Label: "unit", Description: "8-speed", ProfileID: profile.ID, Warmer: "no"}),
		s.PutVehicle(ctx, fill, schema.Vehicle{ID: schema.VehicleID(killID("d", 1)), Label: "van", UnitID: schema.UnitID(killID("e", 1))}))
	for i := range killWriters {
		p := schema.Person{ID: schema.PersonID(killID("c", i)), Name: "mechanic", Role: schema.Mechanic}
		err = errors.Join(err, s.AddPerson(ctx, fill, p, fmt.Sprintf("m%d@red.example", i), hash, 1))
	}
	if err = errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	return profile
}

// running is a server that is a process of its own.
type running struct {
	command *exec.Cmd
	address string
}

func startServer(t *testing.T, bin, data string) *running {
	t.Helper()
	c := exec.CommandContext(context.Background(), bin, "serve", "-addr", "127.0.0.1:0", "-data", data, "-log", "error")
	var said bytes.Buffer
	c.Stderr = &said
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "Brimline is at "); ok {
			go io.Copy(io.Discard, out)
			return &running{c, address}
		}
	}
	c.Wait()
	t.Fatalf("the server did not start: %s", said.String())
	return nil
}

func (p *running) kill(t *testing.T) {
	t.Helper()
	if err := p.command.Process.Kill(); err != nil {
		t.Error(err)
	}
	p.command.Wait() // its error says that it was killed
}

// killPhone makes events and pushes them until the server is gone.
type killPhone struct {
	number  int
	profile schema.Profile
	token   string
	made    int
	prev    string
	open    []json.RawMessage // made and not acknowledged
	held    map[string]int64  // event id → number it was acknowledged with
}

const perCheck = 40

// signIn signs in. The token outlives the server's restarts.
func (k *killPhone) signIn(address string) error {
	var s api.Session
	in := api.SignIn{Email: fmt.Sprintf("m%d@red.example", k.number), Password: killPassword, DeviceID: killID("b", k.number)}
	sent, err := k.ask(address+"/api/v1/session", in, &s)
	if err == nil && !sent {
		err = errors.New("the server went away during sign-in")
	}
	k.token = s.AccessToken
	return err
}

// work pushes until the connection breaks. It returns an error for an answer
// that must never be given.
func (k *killPhone) work(address string) error {
	for {
		for len(k.open) < 3 {
			if err := k.make(); err != nil {
				return err
			}
		}
		var answer api.PushAnswer
		sent, err := k.ask(address+"/api/v1/sync/push", api.Push{Proto: 1, Device: killID("b", k.number), Changes: k.open}, &answer)
		if !sent || err != nil {
			return err
		}
		for _, r := range answer.Results {
			if r.Status != "applied" && r.Status != "duplicate" {
				return fmt.Errorf("phone %d: %+v %+v", k.number, r, r.Problem)
			}
			if _, twice := k.held[r.ID]; twice {
				return fmt.Errorf("phone %d: %s is answered twice", k.number, r.ID)
			}
			k.held[r.ID] = r.Seq
		}
		k.open = nil
	}
}

// make makes the next event: a check.started, or a note, which is always allowed.
func (k *killPhone) make() error {
	check, n := k.made/perCheck, k.made%perCheck
	if n == 0 {
		k.prev = ""
	}
	var body any = map[string]string{"text": "wiped around the plug, dry"}
	kind := "note.written"
	if n == 0 {
		kind = "check.started"
		body = procedure.Started{VehicleID: schema.VehicleID(killID("d", 1)), UnitID: schema.UnitID(killID("e", 1)), ProfileID: k.profile.ID, ProfileEdition: k.profile.Edition,
			PersonID: schema.PersonID(killID("c", k.number)), DeviceID: schema.DeviceID(killID("b", k.number)), Reason: "level_check", Circuit: "untouched", Cycle: 1, Warmer: "no"}
	}
	bodyText, err := json.Marshal(body)
	if err != nil {
		return err
	}
	e := schema.Event{ID: schema.EventID(killID(fmt.Sprintf("1%x", k.number), k.made)), CheckID: schema.CheckID(killID(fmt.Sprintf("f%x", k.number), check)), N: n + 1, Prev: k.prev,
		Kind: kind, V: 1, WallMS: 1_780_000_000_000 + int64(n)*1000, MonoMS: float64(n) * 1000, Boot: "boot", Body: bodyText}
	text, err := json.Marshal(e)
	if err != nil {
		return err
	}
	if k.prev, err = merge.Hash(text); err != nil {
		return err
	}
	k.made++
	change, err := json.Marshal(api.Change{ID: string(e.ID), Dseq: int64(k.made), Kind: "event", V: 1, Body: text})
	k.open = append(k.open, change)
	return err
}

// ask sends one request and reads its answer. sent is false where the server
// went away in between: the outcome is unknown.
func (k *killPhone) ask(url string, body, into any) (sent bool, err error) {
	raw, err := json.Marshal(body)
	if err != nil {
		return false, err
	}
	req, err := http.NewRequest(http.MethodPost, url, bytes.NewReader(raw))
	if err != nil {
		return false, err
	}
	return k.exchange(req, into)
}

func (k *killPhone) exchange(req *http.Request, into any) (sent bool, err error) {
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+k.token)
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		return false, nil
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return false, nil
	}
	if answer.StatusCode != http.StatusOK {
		return false, fmt.Errorf("phone %d: %s: %d %s", k.number, req.URL.Path, answer.StatusCode, text)
	}
	return true, json.Unmarshal(text, into)
}

// pulledEvents pulls everything: event id → number. It fails on an event that
// comes twice and on a check whose chain is broken.
func pulledEvents(t *testing.T, address string, k *killPhone) map[string]int64 {
	t.Helper()
	found := map[string]int64{}
	type link struct {
		n    int
		hash string
	}
	heads := map[schema.CheckID]link{}
	for cursor, more := "", true; more; {
		req, err := http.NewRequest(http.MethodGet, address+"/api/v1/sync/pull?limit=1000&cursor="+cursor, nil)
		if err != nil {
			t.Fatal(err)
		}
		var page api.PullPage
		if sent, err := k.exchange(req, &page); !sent || err != nil {
			t.Fatalf("pull: %v", err)
		}
		for _, item := range page.Items {
			if item.Kind != "event" {
				continue
			}
			if _, twice := found[item.ID]; twice {
				t.Errorf("event %s is there twice", item.ID)
			}
			found[item.ID] = item.Seq
			var e schema.Event
			hash, err := merge.Hash(item.Body)
			if err = errors.Join(err, json.Unmarshal(item.Body, &e)); err != nil {
				t.Fatal(err)
			}
			if head := heads[e.CheckID]; e.N != head.n+1 || e.Prev != head.hash {
				t.Errorf("check %s: event %d after %d does not fit", e.CheckID, e.N, head.n)
			}
			heads[e.CheckID] = link{e.N, hash}
		}
		cursor, more = page.Next, page.More
	}
	return found
}
