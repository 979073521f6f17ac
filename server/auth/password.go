package auth

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"brimline/schema/fault"
)

// The cost of a password hash: the least that OWASP's password storage cheat
// sheet recommends for argon2id, so that it also runs on a small machine.
const (
	costTime    = 2
	costKiB     = 19 << 10
	costThreads = 1
	saltBytes   = 16
	keyBytes    = 32
)

// Bounds on hashing: two at once hold 38 MiB; more attempts wait, and not for long.
const (
	hashersAtOnce  = 2
	hashersWaiting = 32
	hashWait       = 5 * time.Second
)

// Length of a password, in characters and bytes.
const (
	minPasswordRunes = 8
	maxPasswordBytes = 512
)

// nobody is the hash of no password (its key is not a hash of anything): checking
// against it takes the work of a real check and never succeeds.
var nobody = encodeHash(make([]byte, saltBytes), make([]byte, keyBytes))

// HashPassword returns the argon2id hash of a new password, in PHC text form.
func HashPassword(password string) (string, error) {
	switch {
	case utf8.RuneCountInString(password) < minPasswordRunes:
		return "", fault.Bad("password.short", "password", "must have at least 8 characters; 15 or more are better")
	case len(password) > maxPasswordBytes:
		return "", fault.Bad("password.long", "password", "must have at most 512 bytes")
	}
	salt := make([]byte, saltBytes)
	rand.Read(salt) // never fails
	return encodeHash(salt, derive(password, salt)), nil
}

func derive(password string, salt []byte) []byte {
	return argon2.IDKey([]byte(password), salt, costTime, costKiB, costThreads, keyBytes)
}

func encodeHash(salt, key []byte) string {
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, costKiB, costTime, costThreads, b64.EncodeToString(salt), b64.EncodeToString(key))
}

// hasher bounds how many passwords are checked at once: each takes 19 MiB, and
// an attacker must not be able to fill the memory.
type hasher struct {
	running chan struct{}
	waiting chan struct{}
}

func newHasher() *hasher {
	return &hasher{running: make(chan struct{}, hashersAtOnce), waiting: make(chan struct{}, hashersAtOnce+hashersWaiting)}
}

// verify reports whether password has the hash. It is auth.slow if too many are
// being checked.
func (h *hasher) verify(ctx context.Context, hash, password string) (bool, error) {
	select {
	case h.waiting <- struct{}{}:
		defer func() { <-h.waiting }()
	default:
		return false, errSlow
	}
	timer := time.NewTimer(hashWait)
	defer timer.Stop()
	select {
	case h.running <- struct{}{}:
		defer func() { <-h.running }()
	case <-timer.C:
		return false, errSlow
	case <-ctx.Done():
		return false, fmt.Errorf("wait to check password: %w", ctx.Err())
	}
	salt, key, err := decodeHash(hash)
	if err != nil {
		return false, err
	}
	if len(password) > maxPasswordBytes {
		password = password[:maxPasswordBytes] + "!" // cannot be anybody's, and takes the same work
	}
	return subtle.ConstantTimeCompare(derive(password, salt), key) == 1, nil
}

// decodeHash reads a hash of the cost that is in use.
func decodeHash(hash string) (salt, key []byte, err error) {
	parts := strings.Split(hash, "$")
	want := strings.Split(nobody, "$")
	if len(parts) != len(want) || parts[1] != want[1] || parts[2] != want[2] || parts[3] != want[3] {
		return nil, nil, fmt.Errorf("stored password hash has another form than argon2id m=%d t=%d p=%d", costKiB, costTime, costThreads)
	}
	if salt, err = base64.RawStdEncoding.DecodeString(parts[4]); err != nil {
		return nil, nil, fmt.Errorf("decode salt of password hash: %w", err)
	}
	if key, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil {
		return nil, nil, fmt.Errorf("decode key of password hash: %w", err)
	}
	return salt, key, nil
}
