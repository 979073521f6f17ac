// Package auth says who somebody is: it checks passwords, signs and verifies
// access tokens and hands out refresh tokens.
//
// What a person may do is not its business; it returns a store.Tenant, made
// from a session that is live at that moment, and the rest follows from that.
// Tokens are never logged and passwords never kept.
package auth

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/server/store"
)

// AccessLife is how long an access token is good for.
const AccessLife = 10 * time.Minute

// Auth signs people in and knows them again. It is safe for concurrent use.
type Auth struct {
	store  *store.Store
	tokens *tokens
	hasher *hasher
	byIP   *limiter
	byMail *limiter
	clock  func() time.Time
}

// New returns an Auth over a store. folder holds the signing keys; clock is
// the calendar.
func New(s *store.Store, folder string, clock func() time.Time) (*Auth, error) {
	t, err := loadTokens(folder, clock)
	if err != nil {
		return nil, err
	}
	return &Auth{store: s, tokens: t, hasher: newHasher(), clock: clock,
		byIP: newLimiter(20, 6*time.Second), byMail: newLimiter(10, 30*time.Second)}, nil
}

// SignIn is one attempt to sign in.
type SignIn struct {
	Email, Password string
	Device          schema.DeviceID
	DeviceName      string
	IP              string
}

// Grant is what a person who signed in gets.
type Grant struct {
	AccessToken  string
	ExpiresInS   int
	RefreshToken string
	Session      store.Session
}

// SignIn checks a password and begins a session.
//
// A wrong password and an unknown mail address take the same work and give the
// same fault, auth.wrong. After too many failures from one address or for one
// mail it is auth.slow (Unavailable); successes do not count.
func (a *Auth) SignIn(ctx context.Context, in SignIn) (Grant, error) {
	now := a.clock()
	mail := strings.ToLower(strings.TrimSpace(in.Email))
	if !a.byIP.take(in.IP, now) {
		return Grant{}, errSlow
	}
	if !a.byMail.take(mail, now) {
		return Grant{}, errSlow
	}
	c, err := a.store.Credential(ctx, mail)
	known := err == nil && !c.Disabled
	if f := fault.As(err); err != nil && (f == nil || f.Kind != fault.NotFound) {
		return Grant{}, err
	}
	hash := c.PasswordHash
	if !known {
		hash = nobody
	}
	right, err := a.hasher.verify(ctx, hash, in.Password)
	if err != nil {
		return Grant{}, err
	}
	if !right || !known {
		return Grant{}, errWrong
	}
	a.byIP.giveBack(in.IP)
	a.byMail.giveBack(mail)
	token, hashOf := newRefreshToken()
	id, err := uuid.NewV7()
	if err != nil {
		return Grant{}, fmt.Errorf("make session id: %w", err)
	}
	s, err := a.store.StartSession(ctx, c, id.String(), in.Device, in.DeviceName, hashOf, now.UnixMilli())
	if err != nil {
		return Grant{}, err
	}
	return a.grant(s, token, now)
}

// Refresh exchanges a refresh token for a new grant. Every refusal is
// session_revoked: the person has to sign in again.
func (a *Auth) Refresh(ctx context.Context, token string) (Grant, error) {
	if token == "" {
		return Grant{}, errMissing
	}
	now := a.clock()
	next, hashOf := newRefreshToken()
	s, err := a.store.RotateSession(ctx, hashToken(token), hashOf, now.UnixMilli())
	if err != nil {
		return Grant{}, err
	}
	return a.grant(s, next, now)
}

// SignOut ends the session of a refresh token, or of an access token where
// there is no refresh token. It is no error if there is nothing to end.
func (a *Auth) SignOut(ctx context.Context, refresh, bearer string) error {
	nowMS := a.clock().UnixMilli()
	if refresh != "" {
		return a.store.EndSession(ctx, hashToken(refresh), nowMS)
	}
	t, err := a.Verify(ctx, bearer)
	if f := fault.As(err); f != nil && f.Kind == fault.Denied {
		return nil
	}
	if err != nil {
		return err
	}
	return a.store.EndOwnSession(ctx, t, nowMS)
}

// Verify returns the tenant of an access token. Faults are Denied: auth.missing,
// auth.invalid, auth.expired, or session_revoked if the session is over.
func (a *Auth) Verify(ctx context.Context, bearer string) (store.Tenant, error) {
	if bearer == "" {
		return store.Tenant{}, errMissing
	}
	claim, err := a.tokens.verify(bearer)
	if err != nil {
		return store.Tenant{}, err
	}
	return a.store.SignedIn(ctx, claim)
}

func (a *Auth) grant(s store.Session, refresh string, now time.Time) (Grant, error) {
	access, err := a.tokens.sign(s, now)
	if err != nil {
		return Grant{}, err
	}
	return Grant{AccessToken: access, ExpiresInS: int(AccessLife / time.Second), RefreshToken: refresh, Session: s}, nil
}

var (
	errSlow    = fault.New(fault.Unavailable, "auth.slow", "", "too many attempts to sign in; wait half a minute and try again")
	errWrong   = fault.New(fault.Denied, "auth.wrong", "", "mail address or password is wrong")
	errMissing = fault.New(fault.Denied, "auth.missing", "", "sign in first")
	errInvalid = fault.New(fault.Denied, "auth.invalid", "", "the access token is not one of this server's; sign in again")
	errExpired = fault.New(fault.Denied, "auth.expired", "", "the access token is too old; refresh it")
)

// newRefreshToken returns 256 random bits as text, and their hash. rand.Read
// never fails.
func newRefreshToken() (token, hash string) {
	var raw [32]byte
	rand.Read(raw[:])
	token = base64.RawURLEncoding.EncodeToString(raw[:])
	return token, hashToken(token)
}

func hashToken(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}
