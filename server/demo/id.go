package demo

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
)

// story's seed. Another word gives another history of the same shape.
const seedWord = "brimline demo"

// digest is the SHA-256 of words, each ended by a zero byte.
func digest(words ...any) [32]byte {
	h := sha256.New()
	for _, w := range words {
		fmt.Fprint(h, w)
		h.Write([]byte{0})
	}
	var sum [32]byte
	h.Sum(sum[:0])
	return sum
}

// seed makes a number from words: the same each time.
func seed(words ...any) uint64 {
	sum := digest(append([]any{seedWord}, words...)...)
	return binary.BigEndian.Uint64(sum[:8])
}

// share makes a number in [0, 1) from words.
func share(words ...any) float64 { return float64(seed(words...)>>11) / (1 << 53) }

// fixedID is the id of a record that is the same in every demo.
func fixedID(words ...any) string {
	sum := digest(append([]any{seedWord}, words...)...)
	return uuid(sum[:16], 8)
}

// derivedID is the id a phone derives from words for a record that must be
// the same however often it is made: the start of SHA-256 over the words.
func derivedID(words ...string) string {
	list := make([]any, len(words))
	for i, w := range words {
		list[i] = w
	}
	sum := digest(list...)
	return uuid(sum[:16], 8)
}

// ids hands out time-ordered ids (RFC 9562, version 7) whose other bits come
// from the seed.
type ids struct {
	name string
	n    int
}

func (g *ids) next(wallMS int64) string {
	g.n++
	sum := digest(seedWord, g.name, g.n)
	var b [16]byte
	binary.BigEndian.PutUint64(b[:8], uint64(wallMS)<<16)
	copy(b[6:], sum[:10])
	return uuid(b[:], 7)
}

// uuid sets version and variant and writes the 16 bytes.
func uuid(b []byte, version byte) string {
	b[6] = b[6]&0x0f | version<<4
	b[8] = b[8]&0x3f | 0x80
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}
