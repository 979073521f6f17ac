// Package demo fills a database with an invented workshop and sixteen months of
// its work.
//
// Nothing in it is a canned result: simulated mechanics work on simulated
// gearboxes through the procedure, and their logs go into the store by the same
// door as a phone's, where each is replayed. So the numbers agree with each
// other. All of it follows from a seed and the given moment; nothing is real,
// and no network is used.
package demo

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"time"
	_ "time/tzdata" // the workshop's time zone must be known on every machine

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/server/store"
)

//go:embed data/*.json
var data embed.FS

// SignIn is one person who can use the demo.
type SignIn struct {
	Email, Password, Name string
	Role                  schema.Role
}

// Load makes the demo's workshop with its people, vehicles, profiles, checks
// and reminders, all dated before now. If the workshop is there already it does
// nothing. Either way it returns who can sign in.
//
// Errors: a workshop that an earlier call could not finish, with the remedy; a
// failure of the store; the end of ctx.
func Load(ctx context.Context, s *store.Store, now time.Time) ([]SignIn, error) {
	_, _, err := s.FindWorkshop(ctx, workshop.Name)
	switch {
	case err == nil:
		return signIns(), finished(ctx, s)
	case !missing(err):
		return nil, fmt.Errorf("look for the demo workshop: %w", err)
	}
	st, err := newStory(now)
	if err != nil {
		return nil, err
	}
	if err := st.work(ctx); err != nil {
		return nil, err
	}
	if err := st.record(ctx, s); err != nil {
		return nil, err
	}
	return signIns(), nil
}

// finished reports an error if the workshop was begun but not filled: the
// manager is added last.
func finished(ctx context.Context, s *store.Store) error {
	_, err := s.Credential(ctx, people[len(people)-1].email)
	if missing(err) {
		return errors.New("the demo workshop is there but was not filled to the end; start with an empty data folder")
	}
	return err
}

func missing(err error) bool {
	f := fault.As(err)
	return f != nil && f.Kind == fault.NotFound
}

// read decodes one of the records that are kept as files.
func read[T any](name string) (T, error) {
	var record T
	b, err := data.ReadFile("data/" + name)
	if err == nil {
		err = json.Unmarshal(b, &record)
	}
	if err != nil {
		return record, fmt.Errorf("read %s: %w", name, err)
	}
	return record, nil
}
