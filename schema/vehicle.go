package schema

// Vehicle is what stands in the driveway. Zero figures mean "not known".
type Vehicle struct {
	ID          VehicleID `json:"id"`
	Label       string    `json:"label"` // what the workshop calls it
	Plate       string    `json:"plate,omitempty"`
	VIN         string    `json:"vin,omitempty"`
	Description string    `json:"description,omitempty"`
	UnitID      UnitID    `json:"unit_id"` // the gearbox that is in it now
	WheelbaseMM float64   `json:"wheelbase_mm,omitempty"`
	TrackMM     float64   `json:"track_mm,omitempty"`
	Drive       string    `json:"drive,omitempty"`    // rear, front or all
	AutoStop    bool      `json:"auto_stop"`          // the engine may stop by itself
	Hybrid      bool      `json:"hybrid"`             // needs the maker's way to keep the engine running
	Place       string    `json:"place,omitempty"`    // where it usually stands
	OdometerKM  float64   `json:"odometer_km"`        // last known; 0 is not known
	Customer    string    `json:"customer,omitempty"` // a label, no personal data
	Note        string    `json:"note,omitempty"`
}

// Check reports the first thing that keeps v from meaning something.
func (v Vehicle) Check() error {
	return first(
		validID("id", string(v.ID)), label("label", v.Label), validID("unit_id", string(v.UnitID)),
		note("plate", v.Plate), note("vin", v.VIN), note("description", v.Description),
		oneOf("drive", v.Drive, "", "rear", "front", "all"),
		within("wheelbase_mm", v.WheelbaseMM, 0, 9000, "mm"), within("track_mm", v.TrackMM, 0, 3500, "mm"),
		within("odometer_km", v.OdometerKM, 0, 5e6, "km"),
		note("place", v.Place), note("customer", v.Customer), note("note", v.Note))
}

// Unit is one gearbox. It keeps its own history when it moves to another vehicle.
type Unit struct {
	ID          UnitID    `json:"id"`
	Label       string    `json:"label"`
	Description string    `json:"description"` // generic, such as "8-speed, longitudinal, torque converter"
	ProfileID   ProfileID `json:"profile_id"`
	Serial      string    `json:"serial,omitempty"`
	Warmer      string    `json:"warmer"` // coolant-fed warmer: yes, no or unknown
}

// Check reports the first thing that keeps u from meaning something.
func (u Unit) Check() error {
	return first(validID("id", string(u.ID)), label("label", u.Label), label("description", u.Description),
		validID("profile_id", string(u.ProfileID)), note("serial", u.Serial),
		oneOf("warmer", u.Warmer, "yes", "no", "unknown"))
}
