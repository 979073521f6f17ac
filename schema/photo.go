package schema

// Photo says what a picture is of. The bytes travel on their own; the record
// is valid without them.
type Photo struct {
	ID        PhotoID `json:"id"`
	CheckID   CheckID `json:"check_id"`
	SHA256    string  `json:"sha256"` // of the stored bytes, lower-case hex
	SizeBytes int     `json:"size_bytes"`
	WidthPX   int     `json:"width_px"`
	HeightPX  int     `json:"height_px"`
	Subject   string  `json:"subject"`
	TakenMS   int64   `json:"taken_ms"` // Unix milliseconds by the phone's clock
}

// Check reports the first thing that keeps p from meaning something.
func (p Photo) Check() error {
	return first(validID("id", string(p.ID)), validID("check_id", string(p.CheckID)), hash("sha256", p.SHA256),
		within("size_bytes", float64(p.SizeBytes), 1, 1.5*(1<<20), "bytes"),
		within("width_px", float64(p.WidthPX), 1, 2560, "pixels"), within("height_px", float64(p.HeightPX), 1, 2560, "pixels"),
		label("subject", p.Subject))
}
