package auth

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"brimline/schema/fault"
)

func TestPasswords(t *testing.T) {
	h := newHasher()
	ctx := t.Context()
	hash, err := HashPassword("ein längeres Passwort")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hash = %s", hash)
	}
	for password, want := range map[string]bool{"ein längeres Passwort": true, "ein längeres passwort": false, "": false, strings.Repeat("x", 5000): false} {
		if got, err := h.verify(ctx, hash, password); err != nil || got != want {
			t.Errorf("verify %.30q = %v %v, want %v", password, got, err, want)
		}
	}
	for _, password := range []string{"", "a long enough password"} {
		if got, err := h.verify(ctx, nobody, password); err != nil || got {
			t.Errorf("nobody's hash takes %q: %v %v", password, got, err)
		}
	}
	if again, err := HashPassword("ein längeres Passwort"); err != nil || again == hash {
		t.Errorf("the same salt twice: %v", err)
	}
	for _, bad := range []string{"", "plain", "$argon2id$v=19$m=8,t=1,p=1$AAAA$AAAA", "$argon2id$v=19$m=19456,t=2,p=1$*$AAAA"} {
		if _, err := h.verify(ctx, bad, "x"); err == nil {
			t.Errorf("stored hash %q is taken", bad)
		}
	}
	for password, code := range map[string]string{"sieben7": "password.short", strings.Repeat("x", 513): "password.long"} {
		if _, err := HashPassword(password); fault.As(err) == nil || fault.As(err).Code != code {
			t.Errorf("new password of %d bytes gives %v, want %s", len(password), err, code)
		}
	}
}

// TestHashingIsBounded fills the waiting room: one more is refused at once.
func TestHashingIsBounded(t *testing.T) {
	h := newHasher()
	for range hashersAtOnce {
		h.running <- struct{}{}
	}
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	for range cap(h.waiting) {
		wg.Go(func() { _, _ = h.verify(ctx, nobody, "x") })
	}
	for len(h.waiting) < cap(h.waiting) {
		time.Sleep(time.Millisecond)
	}
	if _, err := h.verify(ctx, nobody, "x"); fault.As(err) == nil || fault.As(err).Code != "auth.slow" {
		t.Errorf("one more gives %v, want auth.slow", err)
	}
	cancel()
	wg.Wait()
}

func TestLimiter(t *testing.T) {
	l := newLimiter(3, time.Second)
	now := signedAt
	for i, want := range []bool{true, true, true, false} {
		if got := l.take("a", now); got != want {
			t.Errorf("attempt %d = %v, want %v", i, got, want)
		}
	}
	if !l.take("b", now) {
		t.Error("one key's attempts count for another")
	}
	if l.take("a", now.Add(900*time.Millisecond)) || !l.take("a", now.Add(1100*time.Millisecond)) {
		t.Error("an attempt comes back after a second, not sooner")
	}
	l.giveBack("a")
	if !l.take("a", now.Add(1100*time.Millisecond)) {
		t.Error("a success counts")
	}
	if l.take("a", now.Add(-time.Hour)) {
		t.Error("a clock that was set back gives attempts")
	}
	for i := range 3 * maxKeys {
		l.take(time.Duration(i).String(), now)
	}
	if len(l.buckets) > maxKeys {
		t.Errorf("remembers %d keys, want at most %d", len(l.buckets), maxKeys)
	}
}
