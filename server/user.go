package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/google/uuid"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/server/auth"
	"brimline/server/store"
	"brimline/server/web"
)

// maxPasswordInput bounds what is read from standard input.
const maxPasswordInput = 4096

// user adds a person. The password comes from standard input, so that it
// stands in no list of processes and no shell's history.
func user(ctx context.Context, w world, args []string) error {
	if len(args) == 0 || args[0] != "add" {
		return fmt.Errorf("usage: user add -workshop NAME -name NAME -mail ADDRESS -role ROLE < password; %w", errUsage)
	}
	flags := flag.NewFlagSet("user add", flag.ContinueOnError)
	flags.SetOutput(w.err)
	data, ok := w.lookup("BRIMLINE_DATA")
	if !ok {
		data = "./data"
	}
	folder := flags.String("data", data, "data folder of the server")
	workshop := flags.String("workshop", "", "name of the workshop; it is made if there is none")
	zone := flags.String("time-zone", "Etc/UTC", "IANA time zone of a workshop that is made, such as Europe/Berlin")
	name := flags.String("name", "", "the person's name")
	mail := flags.String("mail", "", "the mail address they sign in with")
	role := flags.String("role", string(schema.Mechanic), "mechanic, lead or manager")
	if err := flags.Parse(args[1:]); err != nil {
		return errors.Join(err, errUsage)
	}
	if _, err := time.LoadLocation(*zone); err != nil {
		return fmt.Errorf("time-zone: must be an IANA name such as Europe/Berlin: %w", err)
	}
	raw, err := io.ReadAll(io.LimitReader(w.in, maxPasswordInput))
	if err != nil {
		return fmt.Errorf("read password: %w", err)
	}
	hash, err := auth.HashPassword(strings.TrimRight(string(raw), "\r\n"))
	if err != nil {
		return err
	}
	s, err := store.Open(ctx, *folder, web.Replay)
	if err != nil {
		return err
	}
	person := schema.Person{ID: schema.PersonID(uuid.NewString()), Name: *name, Role: schema.Role(*role)}
	err = addPerson(ctx, w, s, schema.Workshop{ID: schema.WorkshopID(uuid.NewString()), Name: *workshop, TimeZone: *zone}, person, *mail, hash)
	return errors.Join(err, s.Close())
}

// addPerson adds p to the workshop of wanted's name, or to wanted itself if
// there is none of that name.
func addPerson(ctx context.Context, w world, s *store.Store, wanted schema.Workshop, p schema.Person, mail, hash string) error {
	if err := p.Check(); err != nil { // before a workshop is made for nobody
		return err
	}
	nowMS := time.Now().UnixMilli()
	held, t, err := s.FindWorkshop(ctx, wanted.Name)
	if f := fault.As(err); f != nil && f.Kind == fault.NotFound {
		held = wanted
		if t, err = s.AddWorkshop(ctx, wanted, nowMS); err == nil {
			fmt.Fprintf(w.out, "workshop %q made\n", held.Name)
		}
	}
	if err != nil {
		return err
	}
	if err := s.AddPerson(ctx, t, p, mail, hash, nowMS); err != nil {
		return err
	}
	fmt.Fprintf(w.out, "%s %q added to workshop %q\n", p.Role, p.Name, held.Name)
	return nil
}
