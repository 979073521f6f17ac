package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"brimline/schema/fault"
	"brimline/server/auth"
	"brimline/server/store"
	"brimline/server/web"
)

// runWith runs a command in this process and returns what it said.
func runWith(t *testing.T, in io.Reader, env map[string]string, args ...string) (exit int, out, err string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	w := world{in: in, out: &stdout, err: &stderr, lookup: func(name string) (string, bool) { v, ok := env[name]; return v, ok }}
	exit = run(t.Context(), w, args)
	return exit, stdout.String(), stderr.String()
}

func TestSettings(t *testing.T) {
	empty := func(string) (string, bool) { return "", false }
	c, err := readConfig(world{err: io.Discard, lookup: empty}, nil)
	if err != nil || c.addr != "127.0.0.1:8080" || c.data != "./data" || c.demo || c.stopWait != 10*time.Second || c.publicURL.String() != "http://127.0.0.1:8080" {
		t.Errorf("standard settings = %+v %v", c, err)
	}
	env := map[string]string{"BRIMLINE_ADDR": "127.0.0.1:1", "BRIMLINE_DEMO": "true", "BRIMLINE_PUBLIC_URL": "https://brimline.example", "BRIMLINE_STOP_S": "3"}
	c, err = readConfig(world{err: io.Discard, lookup: func(n string) (string, bool) { v, ok := env[n]; return v, ok }}, []string{"-addr", "127.0.0.1:2"})
	if err != nil || c.addr != "127.0.0.1:2" || !c.demo || c.publicURL.Scheme != "https" || c.stopWait != 3*time.Second {
		t.Errorf("a flag beats the environment, which beats the standard: %+v %v", c, err)
	}
	for _, args := range [][]string{{"-addr", "8080"}, {"-data", ""}, {"-demo=perhaps"}, {"-public-url", "brimline"}, {"-log", "loud"}, {"-stop-s", "0"}, {"-nothing"}, {"word"}} {
		if _, err := readConfig(world{err: io.Discard, lookup: empty}, args); err == nil {
			t.Errorf("serve %v is taken", args)
		}
	}
	_, help, _ := runWith(t, nil, nil, "help")
	for _, s := range settings() {
		if !strings.Contains(help, s.env) {
			t.Errorf("help does not name %s", s.env)
		}
	}
	if exit, _, _ := runWith(t, nil, nil, "dance"); exit != 2 {
		t.Errorf("an unknown command ends with %d, want 2", exit)
	}
}

func TestComputeLines(t *testing.T) {
	const good = `{"density_15c_kg_m3":850,"volume_ml":1000,"from_c":20,"to_c":40}`
	input := good + "\n" + `{"density_15c_kg_m3":"x"}` + "\n\nnot JSON\n" + good + "\r\n" + `{"a":` + strings.Repeat(" ", maxLineBytes) + "}\n" + good // no line end
	exit, out, _ := runWith(t, strings.NewReader(input), nil, "compute", "fluid-volume")
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	if exit != 1 || len(lines) != 6 {
		t.Fatalf("exit %d with %d lines, want 1 and 6:\n%s", exit, len(lines), out)
	}
	for i, line := range lines {
		var answer struct {
			VolumeML float64 `json:"volume_ml"`
			Error    *struct{ Code, Field, Message string }
		}
		if err := json.Unmarshal([]byte(line), &answer); err != nil {
			t.Fatalf("line %d is not JSON: %s", i, line)
		}
		if bad := i == 1 || i == 2 || i == 4; bad != (answer.Error != nil) || bad && (answer.Error.Code == "" || answer.Error.Message == "") {
			t.Errorf("line %d = %s", i, line)
		}
	}
	if exit, out, _ := runWith(t, strings.NewReader(good), nil, "compute", "fluid-volume"); exit != 0 || strings.Count(out, "\n") != 1 {
		t.Errorf("one good line: exit %d, %q", exit, out)
	}
	if exit, _, said := runWith(t, strings.NewReader(good), nil, "compute", "dance"); exit != 2 || !strings.Contains(said, "dance") {
		t.Errorf("unknown name: exit %d, %q", exit, said)
	}
	exit, list, _ := runWith(t, nil, nil, "compute")
	if exit != 0 || !strings.Contains(list, "fluid-volume") || !strings.Contains(list, "check-replay") {
		t.Errorf("names: exit %d\n%s", exit, list)
	}
	exit, schemas, _ := runWith(t, nil, nil, "compute", "fluid-volume", "--schema")
	parts := strings.Split(strings.TrimSpace(schemas), "\n")
	if exit != 0 || len(parts) != 2 || !json.Valid([]byte(parts[0])) || !json.Valid([]byte(parts[1])) {
		t.Errorf("schemas: exit %d\n%s", exit, schemas)
	}
}

// TestStopLetsRequestsFinish asks the server to stop while a request is half
// sent: the request is still answered, and the server ends without an error.
func TestStopLetsRequestsFinish(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	said, out := io.Pipe()
	w := world{out: out, err: io.Discard, lookup: func(string) (string, bool) { return "", false }}
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, w, []string{"serve", "-addr", "127.0.0.1:0", "-data", t.TempDir(), "-log", "error"})
	}()
	line, err := bufio.NewReader(said).ReadString('\n')
	_, address, ok := strings.Cut(strings.TrimSpace(line), "http://")
	if err != nil || !ok {
		t.Fatalf("the server said %q: %v", line, err)
	}
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	const body = `{"email":"ada@red.example"}`
	fmt.Fprintf(conn, "POST /api/v1/session HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s", address, len(body), body[:10])
	time.Sleep(100 * time.Millisecond) // the server has begun to read
	stop()
	time.Sleep(100 * time.Millisecond)
	io.WriteString(conn, body[10:])
	answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil || answer.StatusCode != http.StatusBadRequest {
		t.Errorf("the request under way is answered %v %v, want 400 for the missing password", answer, err)
	}
	select {
	case exit := <-ended:
		if exit != 0 {
			t.Errorf("exit %d, want 0", exit)
		}
	case <-time.After(10 * time.Second):
		t.Error("the server did not end")
	}
}

// repeated reads one line so many times.
type repeated struct {
	line string
	left int
	rest string
}

func (r *repeated) Read(p []byte) (int, error) {
	if r.rest == "" {
		if r.left == 0 {
			return 0, io.EOF
		}
		r.left--
		r.rest = r.line
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

// TestComputeStreams runs many lines through without keeping them.
func TestComputeStreams(t *testing.T) {
	in := &repeated{line: `{"density_15c_kg_m3":850,"volume_ml":1000,"from_c":20,"to_c":40}` + "\n", left: 20_000}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	w := world{in: in, out: io.Discard, err: io.Discard}
	if exit := run(t.Context(), w, []string{"compute", "fluid-volume"}); exit != 0 {
		t.Fatalf("exit %d", exit)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 4<<20 {
		t.Errorf("the heap grew by %d bytes over 20,000 lines", grown)
	}
}

func TestUserAdd(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	env := map[string]string{"BRIMLINE_DATA": folder}
	add := func(password string, more ...string) (int, string) {
		args := append([]string{"user", "add", "-workshop", "Red", "-time-zone", "Europe/Berlin", "-name", "Ada"}, more...)
		exit, out, said := runWith(t, strings.NewReader(password), env, args...)
		return exit, out + said
	}
	if exit, said := add("a long enough password\n", "-mail", "ada@red.example", "-role", "lead"); exit != 0 || !strings.Contains(said, "Red") {
		t.Fatalf("first person: exit %d, %s", exit, said)
	}
	if exit, said := add("another long password\n", "-mail", "bo@red.example"); exit != 0 || strings.Contains(said, "made") {
		t.Errorf("second person: exit %d, %s", exit, said)
	}
	for name, bad := range map[string][]string{
		"mail taken":   {"-mail", "Ada@red.example"},
		"no mail":      {"-mail", "ada"},
		"unknown role": {"-mail", "cy@red.example", "-role", "king"},
		"no such zone": {"-mail", "cy@red.example", "-time-zone", "Mars/Base"},
	} {
		if exit, said := add("a long enough password\n", bad...); exit == 0 {
			t.Errorf("%s: taken: %s", name, said)
		}
	}
	if exit, said := add("short\n", "-mail", "cy@red.example"); exit == 0 {
		t.Errorf("short password: taken: %s", said)
	}

	ctx := context.Background()
	s, err := store.Open(ctx, folder, web.Replay)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	a, err := auth.New(s, folder, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	signIn := auth.SignIn{Email: "ada@red.example", Password: "a long enough password", Device: "01900000-0000-7000-8000-000000000001", IP: "192.0.2.1"}
	g, err := a.SignIn(ctx, signIn)
	if err != nil || g.Session.Person.Role != "lead" || g.Session.Workshop.TimeZone != "Europe/Berlin" {
		t.Errorf("sign in: %+v %v", g.Session, err)
	}
	signIn.Password += "x"
	if _, err := a.SignIn(ctx, signIn); fault.As(err) == nil || fault.As(err).Code != "auth.wrong" {
		t.Errorf("wrong password: %v", err)
	}
}
