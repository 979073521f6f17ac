package auth

import (
	"crypto/ed25519"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/server/store"
)

var signedAt = time.Unix(1_780_000_000, 0)

func loadAt(t *testing.T, folder string, now time.Time) *tokens {
	t.Helper()
	k, err := loadTokens(folder, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	return k
}

var someSession = store.Session{ID: "sid", Workshop: schema.Workshop{ID: "tid"}, Person: schema.Person{ID: "sub", Role: schema.Lead}, Device: "did"}

// TestForgedTokens signs tokens with the server's own key that differ from a
// good one in a single point: each must be refused.
func TestForgedTokens(t *testing.T) {
	k := loadAt(t, t.TempDir(), signedAt)
	good := func() (map[string]any, jwt.MapClaims) {
		return map[string]any{"typ": tokenType, "kid": k.kid, "alg": "EdDSA"}, jwt.MapClaims{"iss": issuer, "aud": audience, "sub": "sub", "tid": "tid", "did": "did", "sid": "sid",
			"iat": signedAt.Unix(), "exp": signedAt.Add(AccessLife).Unix()}
	}
	tests := []struct {
		name   string
		change func(head map[string]any, body jwt.MapClaims)
		code   string
	}{
		{"good", func(map[string]any, jwt.MapClaims) {}, ""},
		{"no type", func(h map[string]any, _ jwt.MapClaims) { delete(h, "typ") }, "auth.invalid"},
		{"another type", func(h map[string]any, _ jwt.MapClaims) { h["typ"] = "JWT" }, "auth.invalid"},
		{"no key id", func(h map[string]any, _ jwt.MapClaims) { delete(h, "kid") }, "auth.invalid"},
		{"another key id", func(h map[string]any, _ jwt.MapClaims) { h["kid"] = "0123456789abcdef" }, "auth.invalid"},
		{"key id that is no text", func(h map[string]any, _ jwt.MapClaims) { h["kid"] = 7 }, "auth.invalid"},
		{"another issuer", func(_ map[string]any, b jwt.MapClaims) { b["iss"] = "else" }, "auth.invalid"},
		{"another audience", func(_ map[string]any, b jwt.MapClaims) { b["aud"] = "else" }, "auth.invalid"},
		{"no audience", func(_ map[string]any, b jwt.MapClaims) { delete(b, "aud") }, "auth.invalid"},
		{"no expiry", func(_ map[string]any, b jwt.MapClaims) { delete(b, "exp") }, "auth.invalid"},
		{"expiry 0", func(_ map[string]any, b jwt.MapClaims) { b["exp"] = 0 }, "auth.expired"},
		{"expired", func(_ map[string]any, b jwt.MapClaims) { b["exp"] = signedAt.Add(-leeway).Unix() - 1 }, "auth.expired"},
		{"expired within the leeway", func(_ map[string]any, b jwt.MapClaims) { b["exp"] = signedAt.Add(-leeway).Unix() + 2 }, ""},
		{"expired and of another issuer", func(_ map[string]any, b jwt.MapClaims) { b["exp"], b["iss"] = 1, "else" }, "auth.invalid"},
		{"made in the future", func(_ map[string]any, b jwt.MapClaims) { b["iat"] = signedAt.Add(2 * leeway).Unix() }, "auth.invalid"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			head, body := good()
			tt.change(head, body)
			token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, body)
			token.Header = head
			text, err := token.SignedString(k.signing)
			if err != nil {
				t.Fatal(err)
			}
			wantCode(t, k, text, tt.code)
		})
	}

	head, body := good()
	_, stranger, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, body)
	token.Header = head
	byStranger, err := token.SignedString(stranger)
	if err != nil {
		t.Fatal(err)
	}
	wantCode(t, k, byStranger, "auth.invalid")

	// The public key as an HMAC secret: the classic confusion of algorithms.
	confused := jwt.NewWithClaims(jwt.SigningMethodHS256, body)
	confused.Header["typ"], confused.Header["kid"] = tokenType, k.kid
	byPublicKey, err := confused.SignedString([]byte(k.keys[k.kid]))
	if err != nil {
		t.Fatal(err)
	}
	wantCode(t, k, byPublicKey, "auth.invalid")
}

func wantCode(t *testing.T, k *tokens, text, code string) {
	t.Helper()
	claim, err := k.verify(text)
	f := fault.As(err)
	switch {
	case code == "" && (err != nil || claim != store.Claim{Workshop: "tid", Person: "sub", Device: "did", Session: "sid"}):
		t.Errorf("got %+v %v, want it taken", claim, err)
	case code != "" && (f == nil || f.Code != code):
		t.Errorf("got %+v %v, want %s", claim, err, code)
	}
}

func TestSigningKeyIsKept(t *testing.T) {
	folder := t.TempDir()
	text, err := loadAt(t, folder, signedAt).sign(someSession, signedAt)
	if err != nil {
		t.Fatal(err)
	}
	wantCode(t, loadAt(t, folder, signedAt), text, "")
	wantCode(t, loadAt(t, t.TempDir(), signedAt), text, "auth.invalid")
	path := filepath.Join(folder, "signing-key.pem")
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("key file: %v %v, want -rw-------", info.Mode(), err)
	}
	if err := os.WriteFile(path, []byte("spoiled"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := loadTokens(folder, time.Now); err == nil || !strings.Contains(err.Error(), "PEM") {
		t.Errorf("a spoiled key gives %v", err)
	}
}
