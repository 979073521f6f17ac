package auth

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"brimline/schema"
	"brimline/server/store"
)

// What stands in every access token.
const (
	issuer    = "brimline"
	audience  = "brimline-api"
	tokenType = "at+jwt" // RFC 9068; keeps other kinds of token from being taken for this one
	leeway    = 60 * time.Second
)

// maxTokenBytes bounds what is parsed at all.
const maxTokenBytes = 4096

// claims is the body of an access token. It holds ids only: anybody can read it.
type claims struct {
	Workshop string `json:"tid"`
	Device   string `json:"did"`
	Session  string `json:"sid"`
	Role     string `json:"role"` // for the screen; the server asks the database
	jwt.RegisteredClaims
}

// tokens signs and verifies access tokens with the server's own keys.
type tokens struct {
	keys    map[string]ed25519.PublicKey // by kid; unknown ones are never fetched
	signing ed25519.PrivateKey
	kid     string
	parser  *jwt.Parser
}

func loadTokens(folder string, clock func() time.Time) (*tokens, error) {
	key, err := loadKey(filepath.Join(folder, "signing-key.pem"))
	if err != nil {
		return nil, err
	}
	public, ok := key.Public().(ed25519.PublicKey)
	if !ok {
		return nil, errors.New("signing key has no Ed25519 public key")
	}
	kid := hex.EncodeToString(public[:8])
	return &tokens{
		keys: map[string]ed25519.PublicKey{kid: public}, signing: key, kid: kid,
		parser: jwt.NewParser(jwt.WithValidMethods([]string{jwt.SigningMethodEdDSA.Alg()}), jwt.WithIssuer(issuer), jwt.WithAudience(audience),
			jwt.WithExpirationRequired(), jwt.WithIssuedAt(), jwt.WithLeeway(leeway), jwt.WithStrictDecoding(), jwt.WithTimeFunc(clock)),
	}, nil
}

// loadKey reads the signing key, or makes one that only the server's user can read.
func loadKey(path string) (ed25519.PrivateKey, error) {
	raw, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeKey(path)
	}
	if err != nil {
		return nil, fmt.Errorf("read signing key: %w", err)
	}
	block, _ := pem.Decode(raw)
	if block == nil {
		return nil, fmt.Errorf("signing key %q is not PEM; restore it, or delete it and let everybody sign in again", path)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("parse signing key: %w", err)
	}
	key, ok := parsed.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("signing key %q is not Ed25519", path)
	}
	return key, nil
}

func makeKey(path string) (ed25519.PrivateKey, error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make signing key: %w", err)
	}
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("encode signing key: %w", err)
	}
	// O_EXCL: of two servers started at once only one may make the key.
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, fmt.Errorf("write signing key: %w", err)
	}
	err = pem.Encode(f, &pem.Block{Type: "PRIVATE KEY", Bytes: raw})
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		return nil, fmt.Errorf("write signing key: %w", err)
	}
	return key, nil
}

func (t *tokens) sign(s store.Session, now time.Time) (string, error) {
	token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		Workshop: string(s.Workshop.ID), Device: string(s.Device), Session: s.ID, Role: string(s.Person.Role),
		RegisteredClaims: jwt.RegisteredClaims{Issuer: issuer, Audience: jwt.ClaimStrings{audience}, Subject: string(s.Person.ID),
			IssuedAt: jwt.NewNumericDate(now), ExpiresAt: jwt.NewNumericDate(now.Add(AccessLife))},
	})
	token.Header["typ"] = tokenType
	token.Header["kid"] = t.kid
	text, err := token.SignedString(t.signing)
	if err != nil {
		return "", fmt.Errorf("sign access token: %w", err)
	}
	return text, nil
}

// verify returns what a token claims, or auth.invalid or auth.expired.
func (t *tokens) verify(text string) (store.Claim, error) {
	if len(text) > maxTokenBytes {
		return store.Claim{}, errInvalid
	}
	var c claims
	_, err := t.parser.ParseWithClaims(text, &c, t.key)
	switch {
	case errors.Is(err, jwt.ErrTokenExpired) && !errors.Is(err, jwt.ErrTokenSignatureInvalid) && !errors.Is(err, jwt.ErrTokenInvalidIssuer) &&
		!errors.Is(err, jwt.ErrTokenInvalidAudience):
		return store.Claim{}, errExpired
	case err != nil:
		return store.Claim{}, errInvalid
	}
	return store.Claim{Workshop: schema.WorkshopID(c.Workshop), Person: schema.PersonID(c.Subject), Device: schema.DeviceID(c.Device), Session: c.Session}, nil
}

// key finds the public key of a token. The library checks the algorithm but
// not the type.
func (t *tokens) key(token *jwt.Token) (any, error) {
	if token.Header["typ"] != tokenType {
		return nil, errInvalid
	}
	kid, _ := token.Header["kid"].(string)
	key, known := t.keys[kid]
	if !known {
		return nil, errInvalid
	}
	return key, nil
}
