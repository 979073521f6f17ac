package schema

// Role says what a person may do.
type Role string

const (
	Mechanic Role = "mechanic" // makes checks
	Lead     Role = "lead"     // also writes and releases profiles
	Manager  Role = "manager"  // reads the whole fleet
)

// Person is somebody who works in a workshop. The password is not part of the
// record: it never leaves the server's own table.
type Person struct {
	ID   PersonID `json:"id"`
	Name string   `json:"name"`
	Role Role     `json:"role"`
}

// Check reports the first thing that keeps p from meaning something.
func (p Person) Check() error {
	return first(validID("id", string(p.ID)), label("name", p.Name),
		oneOf("role", string(p.Role), string(Mechanic), string(Lead), string(Manager)))
}
