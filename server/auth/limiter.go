package auth

import (
	"sync"
	"time"
)

// maxKeys bounds how many addresses a limiter remembers.
const maxKeys = 10_000

// limiter is a token bucket for each key: burst attempts at once, then one
// more each refill.
type limiter struct {
	mu      sync.Mutex
	burst   float64
	refill  time.Duration
	buckets map[string]*bucket
}

type bucket struct {
	left float64
	at   time.Time
}

func newLimiter(burst int, refill time.Duration) *limiter {
	return &limiter{burst: float64(burst), refill: refill, buckets: map[string]*bucket{}}
}

// take reports whether key may try once more now.
func (l *limiter) take(key string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	b := l.buckets[key]
	if b == nil {
		if len(l.buckets) >= maxKeys {
			l.forget(now)
		}
		b = &bucket{left: l.burst, at: now}
		l.buckets[key] = b
	}
	if gone := now.Sub(b.at); gone > 0 {
		b.left = min(l.burst, b.left+float64(gone)/float64(l.refill))
		b.at = now
	}
	if b.left < 1 {
		return false
	}
	b.left--
	return true
}

// giveBack undoes a take.
func (l *limiter) giveBack(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if b := l.buckets[key]; b != nil {
		b.left = min(l.burst, b.left+1)
	}
}

// forget drops the buckets that are full again; if none is, all of them: then
// the memory is worth more than the count.
func (l *limiter) forget(now time.Time) {
	for key, b := range l.buckets {
		if b.left+float64(now.Sub(b.at))/float64(l.refill) >= l.burst {
			delete(l.buckets, key)
		}
	}
	if len(l.buckets) >= maxKeys {
		clear(l.buckets)
	}
}
