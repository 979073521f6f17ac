package schema

// Check is the summary of one level check, derived by replaying its events. The
// events are the truth; a summary is never edited, only derived again.
type Check struct {
	ID             CheckID   `json:"id"`
	VehicleID      VehicleID `json:"vehicle_id"`
	UnitID         UnitID    `json:"unit_id"`
	ProfileID      ProfileID `json:"profile_id"`
	ProfileEdition int       `json:"profile_edition"`
	PersonID       PersonID  `json:"person_id"`
	DeviceID       DeviceID  `json:"device_id"`
	StartedMS      int64     `json:"started_ms"`
	EndedMS        int64     `json:"ended_ms,omitempty"`
	Cycle          int       `json:"cycle"`
	Phase          string    `json:"phase"`  // prepare, run or done
	Status         string    `json:"status"` // running, provisional, final or not_done
	Reading        string    `json:"reading,omitempty"`
	Level          *Level    `json:"as_left,omitempty"`
	Found          *Level    `json:"as_found,omitempty"`
	Reason         string    `json:"reason,omitempty"` // code, where not done
	Events         int       `json:"events"`
	Warming        *Warming  `json:"warming,omitempty"` // how this gearbox warmed: what the next check expects
}

// Warming is how far idling lifted the fluid above the air, and how fast.
type Warming struct {
	RiseC         Spread `json:"rise_c"`
	TimeConstantS Spread `json:"time_constant_s"`
}

// Spread is a quantity with its standard deviation.
type Spread struct {
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
}

// Level is a fluid level in mL relative to the lip at the reference
// temperature, with its standard deviation.
type Level struct {
	LevelML float64 `json:"level_ml"`
	SDML    float64 `json:"sd_ml"`
}
