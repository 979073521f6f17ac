package merge

import (
	"crypto/sha256"
	"encoding/hex"
	"math/rand/v2"
	"testing"
)

// The examples of FIPS 180-2 appendix B, and every length around a block
// border against the standard library.
func TestSum256(t *testing.T) {
	for text, want := range map[string]string{
		"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
		"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
		"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
	} {
		sum := sum256([]byte(text))
		if got := hex.EncodeToString(sum[:]); got != want {
			t.Errorf("sum256(%q) = %s, want %s", text, got, want)
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	for n := range 400 {
		text := make([]byte, n)
		for i := range text {
			text[i] = byte(r.Uint32())
		}
		if got, want := sum256(text), sha256.Sum256(text); got != want {
			t.Fatalf("length %d: got %x, want %x", n, got, want)
		}
	}
}
