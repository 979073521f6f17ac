package schema

// Workshop is one customer of the server: everything it holds stays inside it.
type Workshop struct {
	ID       WorkshopID `json:"id"`
	Name     string     `json:"name"`
	TimeZone string     `json:"time_zone"` // IANA name, for example Europe/Berlin
}

// Check reports the first thing that keeps w from meaning something.
func (w Workshop) Check() error {
	return first(validID("id", string(w.ID)), label("name", w.Name), label("time_zone", w.TimeZone))
}
