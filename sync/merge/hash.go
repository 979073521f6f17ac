package merge

// Hash returns the SHA-256 of the canonical form of raw, in lower-case hex.
// Errors are those of Canonical.
func Hash(raw []byte) (string, error) {
	text, err := Canonical(raw)
	if err != nil {
		return "", err
	}
	return hexSum(text), nil
}

// Chain returns the next link of a workshop's chain of changes: the SHA-256 of
// the link before it (empty for the first), the change's id and the hash of its
// body, one to a line. Two histories with the same link are the same history.
func Chain(prev, id, bodyHash string) string {
	return hexSum([]byte(prev + "\n" + id + "\n" + bodyHash + "\n"))
}

func hexSum(text []byte) string {
	const hex = "0123456789abcdef"
	sum := sum256(text)
	out := make([]byte, 0, 2*len(sum))
	for _, b := range sum {
		out = append(out, hex[b>>4], hex[b&15])
	}
	return string(out)
}
