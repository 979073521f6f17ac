package schema

// Caution is one safety text and the places it applies to. It is never a
// replacement for local codes, the maker's service information or training.
type Caution struct {
	ID      CautionID `json:"id"`
	Edition int       `json:"edition"`
	Topic   string    `json:"topic"`   // hot_fluid, exhaust, running_engine, stands, moving_parts, used_oil …
	Applies []string  `json:"applies"` // always, raised, engine_on, indoors, hybrid, auto_stop
	Title   string    `json:"title"`
	Text    string    `json:"text"`
	Gates   bool      `json:"gates"` // must be acknowledged before the engine is started
}

// NeededTopics are the four cautions without which no check may be started.
var NeededTopics = []string{"hot_fluid", "exhaust", "running_engine", "stands"}

// Check reports the first thing that keeps c from meaning something.
func (c Caution) Check() error {
	err := first(validID("id", string(c.ID)), within("edition", float64(c.Edition), 1, 1e6, ""),
		label("topic", c.Topic), label("title", c.Title), note("text", c.Text))
	if err != nil {
		return err
	}
	for _, a := range c.Applies {
		if err := oneOf("applies", a, "always", "raised", "engine_on", "indoors", "hybrid", "auto_stop"); err != nil {
			return err
		}
	}
	return nil
}
