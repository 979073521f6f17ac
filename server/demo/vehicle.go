package demo

import (
	"math"

	"brimline/schema"
	"brimline/schema/physics/gearbox"
)

// Where the vehicles stand. At quarryLane the ground looks flat and is not.
const (
	depotHall   = "Wendle depot, hall 2"
	depotYard   = "Wendle depot, yard"
	quarryLane  = "Quarry Lane yard"
	bakehouse   = "Hearthgate bakehouse yard"
	millStreet  = "Mill Street car park"
	tanneryRow  = "Tannery Row lay-by"
	libraryName = "Wendle County mobile library"
	bakeryName  = "Hearthgate Bakery"
)

// vehicle is one vehicle with the truth about its gearbox, which nobody in the
// story knows.
type vehicle struct {
	record     schema.Vehicle
	unit       schema.Unit
	profile    string  // file of the newest edition
	startML    float64 // true level when the service took it over
	lossMLDay  float64
	kmPerDay   float64
	kmNow      float64
	timeConstS float64 // of its warming
	addedAgo   int     // days; 0: from the beginning
}

// kmAt returns the odometer some days ago.
func (v vehicle) kmAt(daysAgo float64) float64 { return math.Floor(v.kmNow - v.kmPerDay*daysAgo) }

type profileName struct{ file, id, description string }

var (
	profile8L = profileName{"profile-8l.json", "01900000-0000-7000-8000-0000000000a1", "8-speed, longitudinal, torque converter"}
	profile6T = profileName{"profile-6t.json", "01900000-0000-7000-8000-0000000000a2", "6-speed, transverse, torque converter"}
	profile7L = profileName{"profile-7l.json", "01900000-0000-7000-8000-0000000000a3", "7-speed, longitudinal, torque converter"}
)

// correctedFrom is the first edition of the 8-speed's profile, whose upper
// limit was wrong.
const correctedFrom = "profile-8l-edition-1.json"

func newVehicle(label, plate string, p profileName, wheelbaseMM, trackMM, kmNow float64) vehicle {
	unit := schema.UnitID(fixedID("unit", label))
	v := vehicle{profile: p.file, kmNow: kmNow, kmPerDay: 60, timeConstS: 1700,
		record: schema.Vehicle{ID: schema.VehicleID(fixedID("vehicle", label)), Label: label, Plate: plate, UnitID: unit,
			WheelbaseMM: wheelbaseMM, TrackMM: trackMM},
		unit: schema.Unit{ID: unit, Label: "Gearbox of " + label, Description: p.description, ProfileID: schema.ProfileID(p.id),
			Serial: "HG-6" + plate[len(plate)-2:], Warmer: "no"}}
	v.record.Customer, v.record.Place, v.record.Drive = bakeryName, bakehouse, "rear"
	return v
}

// bus turns a vehicle into one of the library's.
func bus(v vehicle, place string) vehicle {
	v.record.Customer, v.record.Place, v.kmPerDay, v.timeConstS = libraryName, place, 45, 2100
	return v
}

// fleet lists the vehicles. The labels are what people call them.
func fleet() []vehicle {
	bus1 := bus(newVehicle("Library bus 1", "WD LB 101", profile8L, 3665, 1740, 88400), depotHall)
	bus1.record.Description, bus1.startML = "Mobile library, long body, shelves on both sides", -60
	bus2 := bus(newVehicle("Library bus 2", "WD LB 102", profile8L, 3665, 1740, 74200), quarryLane)
	bus2.record.Description, bus2.startML = "Mobile library, long body", 40
	bus3 := bus(newVehicle("Library bus 3", "WD LB 103", profile8L, 3665, 1740, 101900), depotHall)
	bus3.record.Description, bus3.startML = "Mobile library, side door lift", 80
	bus4 := bus(newVehicle("Library bus 4", "WD LB 104", profile7L, 3250, 1690, 31800), depotYard)
	bus4.record.Description, bus4.startML, bus4.record.Hybrid = "Children's library, hybrid", -40, true
	bus4.record.Note = "Keeps its engine running only in the maker's workshop mode; the way is on a card in the glove box."
	spare := bus(newVehicle("Library bus 5, spare", "WD LB 105", profile8L, 3665, 1740, 143300), depotYard)
	spare.record.Description, spare.startML, spare.kmPerDay = "Mobile library, the oldest of the five", 30, 20
	van1 := newVehicle("Bakery van 1", "HG BK 11", profile8L, 3210, 1710, 96700)
	van1.startML, van1.lossMLDay, van1.record.Description = -20, 100/30.4, "Delivery van, high roof"
	van2 := newVehicle("Bakery van 2", "HG BK 12", profile8L, 3210, 1710, 82500)
	van2.startML, van2.record.Description = -70, "Delivery van, high roof"
	van3 := newVehicle("Bakery van 3", "HG BK 13", profile8L, 3210, 1710, 12900)
	van3.addedAgo, van3.record.Description = 6, "Delivery van, high roof, new to the bakery"
	van3.record.Note = "Not checked yet. Stands in the yard from the evening before; about 16 °C there at seven in the morning."
	van4 := newVehicle("Bakery van 4", "HG BK 14", profile6T, 2980, 1580, 58100)
	van4.startML, van4.record.AutoStop, van4.record.Drive = 90, true, "front"
	van4.record.Description = "Small delivery van; the engine stops by itself at a standstill"
	van5 := newVehicle("Bakery van 5", "HG BK 15", profile6T, 2980, 1580, 64700)
	van5.startML, van5.record.Drive, van5.record.Description = -130, "front", "Small delivery van"
	van5.record.Place = tanneryRow
	return []vehicle{bus1, bus2, bus3, bus4, spare, van1, van2, van3, van4, van5}
}

// box draws the vehicle's gearbox as it stands cold at airC on one morning: the
// unit's own figures are the same each time, the readings' noise is not.
func (v vehicle) box(p schema.Profile, airC, extraML float64, draw uint64) gearbox.Gearbox {
	population := gearbox.Base()
	population.AmbientLowC, population.AmbientHighC = airC, airC
	population.SlipShare = 0.02
	own := gearbox.Draw(seed("gearbox", v.record.Label), population)
	g := gearbox.Draw(draw, population)
	g.RiseC, g.TimeConstantS = math.Max(55, own.RiseC), v.timeConstS
	g.ExpansionPerC, g.PlugRadiusMM, g.PumpedML = own.ExpansionPerC, own.PlugRadiusMM, own.PumpedML
	g.ResolutionC, g.FahrenheitReadings = 1, false
	g.ReferenceC = (p.Window.LowC + p.Window.HighC) / 2
	g.ActiveML, g.FreeSurfaceCM2, g.DropUL = p.Fluid.ActiveML, p.Attitude.FreeSurfaceCM2, p.Plug.DropUL
	g.PlugAheadMM, g.PlugRightMM = p.Plug.AheadMM, p.Plug.RightMM
	g.ExtraML = extraML
	return g
}
