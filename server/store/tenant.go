package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"brimline/schema"
	"brimline/schema/fault"
)

// Tenant is the right to act inside one workshop, as one person on one device.
// It cannot be made up: SignedIn makes it from a live session, Local for
// commands on the server's own machine.
type Tenant struct {
	workshop schema.WorkshopID
	person   schema.PersonID
	device   schema.DeviceID
	session  string
	role     schema.Role
}

// Workshop returns the workshop the tenant acts in.
func (t Tenant) Workshop() schema.WorkshopID { return t.workshop }

// Person returns who acts.
func (t Tenant) Person() schema.PersonID { return t.person }

// Device returns the device that is acted from.
func (t Tenant) Device() schema.DeviceID { return t.device }

// Session returns the id of the session, or "" for a command.
func (t Tenant) Session() string { return t.session }

// Role returns what the person may do, as of now and not as of the token.
func (t Tenant) Role() schema.Role { return t.role }

// Claim is what a verified access token says.
type Claim struct {
	Workshop schema.WorkshopID
	Person   schema.PersonID
	Device   schema.DeviceID
	Session  string
}

// errRevoked is the one answer for a session that is over, for whatever reason.
var errRevoked = fault.New(fault.Denied, "session_revoked", "", "this session is over; sign in again")

// SignedIn returns the tenant of a verified access token. It fails with
// session_revoked if the session, the person or the device may no longer act.
func (s *Store) SignedIn(ctx context.Context, c Claim) (Tenant, error) {
	const query = `
		SELECT p.role FROM session s
		JOIN person p ON p.workshop = s.workshop AND p.id = s.person
		JOIN device d ON d.workshop = s.workshop AND d.id = s.device
		WHERE s.workshop = $1 AND s.id = $2 AND s.person = $3 AND s.device = $4
		  AND s.ended_ms = 0 AND p.disabled_ms = 0 AND d.revoked_ms = 0`
	t := Tenant{workshop: c.Workshop, person: c.Person, device: c.Device, session: c.Session}
	err := s.read.row(ctx, query, c.Workshop, c.Session, c.Person, c.Device).Scan(&t.role)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Tenant{}, errRevoked
	case err != nil:
		return Tenant{}, fmt.Errorf("select session %q: %w", c.Session, err)
	}
	return t, nil
}

// Local returns the tenant of a person for a command on the server's own
// machine, such as loading records. Handlers of requests must not use it.
func (s *Store) Local(ctx context.Context, workshop schema.WorkshopID, person schema.PersonID, device schema.DeviceID) (Tenant, error) {
	t := Tenant{workshop: workshop, person: person, device: device}
	err := s.read.row(ctx, "SELECT role FROM person WHERE workshop = $1 AND id = $2", workshop, person).Scan(&t.role)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Tenant{}, errNotFound
	case err != nil:
		return Tenant{}, fmt.Errorf("select person %q: %w", person, err)
	}
	return t, nil
}

// errNotFound is the one answer for what is not there and for what is another workshop's.
var errNotFound = fault.New(fault.NotFound, "not_found", "", "there is no such record in this workshop")
