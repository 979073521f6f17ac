package demo

import "brimline/schema"

// zone is where the workshop is: its days and hours are counted there.
const zone = "Europe/Berlin"

// workshop is the two-person service everything belongs to.
var workshop = schema.Workshop{ID: schema.WorkshopID(fixedID("workshop")), Name: "Orrin & Tessaly Gearbox Visits", TimeZone: zone}

// person is somebody who signs in.
type person struct {
	record          schema.Person
	email, password string
	device          schema.DeviceID // the phone the checks were made with
	phone           string          // its name
	walkS           float64         // from the seat to the underside
}

func newPerson(key, name string, role schema.Role, password, phone string, walkS float64) person {
	return person{record: schema.Person{ID: schema.PersonID(fixedID("person", key)), Name: name, Role: role},
		email: key + "@orrin-tessaly.example", password: password, device: schema.DeviceID(fixedID("device", key)), phone: phone, walkS: walkS}
}

// The people: Jory is a mechanic who also writes the profiles. The manager
// comes last; see finished.
var (
	jory   = newPerson("jory", "Jory Orrin", schema.Lead, "drive-slow-12", "Jory's phone", 14)
	mave   = newPerson("mave", "Mave Tessaly", schema.Mechanic, "count-drops-36", "Mave's phone", 18)
	pell   = newPerson("pell", "Pell Anwick", schema.Manager, "plug-first-24", "Pell's laptop", 0)
	people = []person{jory, mave, pell}
)

func signIns() []SignIn {
	list := make([]SignIn, 0, len(people))
	for _, p := range people {
		list = append(list, SignIn{Email: p.email, Password: p.password, Name: p.record.Name, Role: p.record.Role})
	}
	return list
}
