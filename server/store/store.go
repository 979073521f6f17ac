// Package store keeps everything the server knows, in one SQL database.
//
// It owns transactions, numbering and idempotence: a change is acknowledged
// only after it was committed with full synchronisation, and every committed
// change has a number in its workshop. It refuses to reach across workshops:
// each call takes a Tenant, which only a verified session or a command on the
// server's own machine can obtain. It knows nothing of HTTP or tokens' signatures.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the "sqlite" driver

	"brimline/schema"
)

//go:embed migrations/*.sql
var migrations embed.FS

// oldestSQLite is the first version without the race that can corrupt a
// database in WAL mode while two connections are open.
var oldestSQLite = [3]int{3, 51, 3}

// readers is how many connections read at once, apart from the writer.
const readers = 8

// ReplayInput is one check as it was begun, with its whole log so far.
type ReplayInput struct {
	Profile  schema.Profile
	Vehicle  schema.Vehicle
	Unit     schema.Unit
	Cautions []schema.Caution
	Events   []schema.Event
}

// Replayer derives a check's summary from its log. A fault's field begins with
// events[i], i counting from 0, where the i-th event is the one refused.
type Replayer func(ReplayInput) (schema.Check, error)

// Store is the database. It is safe for concurrent use.
type Store struct {
	read     *reading
	writer   *writer
	replay   Replayer
	folder   string
	epoch    string
	editions editionCache
	closing  sync.Once
}

// Open opens the database in folder, makes it if there is none, and brings its
// tables up to date. Close it when done.
func Open(ctx context.Context, folder string, replay Replayer) (*Store, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("make data folder: %w", err)
	}
	path := filepath.Join(folder, "brimline.db")
	writeDB, err := sql.Open("sqlite", dsn(path, "_txlock=immediate"))
	if err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	writeDB.SetMaxOpenConns(1)
	if err := prepareDatabase(ctx, writeDB); err != nil {
		writeDB.Close()
		return nil, err
	}
	readDB, err := sql.Open("sqlite", dsn(path, "_pragma=query_only(1)"))
	if err != nil {
		writeDB.Close()
		return nil, fmt.Errorf("open database %q to read: %w", path, err)
	}
	readDB.SetMaxOpenConns(readers)
	readDB.SetMaxIdleConns(readers)
	s := &Store{read: &reading{db: readDB}, folder: folder, replay: replay}
	s.writer, err = startWriter(ctx, writeDB)
	if err == nil {
		s.epoch, err = epochOf(ctx, s.read, folder)
	}
	if err != nil {
		readDB.Close()
		writeDB.Close()
		return nil, err
	}
	return s, nil
}

// Close finishes the writes that were accepted, notes how far they went beside
// the database, and closes it.
func (s *Store) Close() error {
	var err error
	s.closing.Do(func() {
		s.writer.stop()
		_, err = epochOf(context.Background(), s.read, s.folder)
		// The writer goes last: only a connection that may write can fold the log
		// of writes back into the database file.
		err = errors.Join(err, s.read.db.Close(), s.writer.close())
	})
	return err
}

// Epoch names this database's history. It changes when the database was
// replaced by an older one.
func (s *Store) Epoch() string { return s.epoch }

// Ping reports whether the database answers.
func (s *Store) Ping(ctx context.Context) error {
	var one int
	if err := s.read.row(ctx, "SELECT 1").Scan(&one); err != nil {
		return fmt.Errorf("ping database: %w", err)
	}
	return nil
}

func dsn(path, more string) string {
	return "file:" + path + "?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&" + more
}

// prepareDatabase refuses an SQLite that can corrupt data and runs the migrations.
func prepareDatabase(ctx context.Context, db *sql.DB) error {
	var version string
	if err := db.QueryRowContext(ctx, "SELECT sqlite_version()").Scan(&version); err != nil {
		return fmt.Errorf("read SQLite version: %w", err)
	}
	var got [3]int
	if _, err := fmt.Sscanf(version, "%d.%d.%d", &got[0], &got[1], &got[2]); err != nil {
		return fmt.Errorf("read SQLite version %q: %w", version, err)
	}
	if older(got, oldestSQLite) {
		return fmt.Errorf("SQLite %s can corrupt the database; build with at least %d.%d.%d", version, oldestSQLite[0], oldestSQLite[1], oldestSQLite[2])
	}
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return fmt.Errorf("read migrations: %w", err)
	}
	provider, err := goose.NewProvider(goose.DialectSQLite3, db, files)
	if err != nil {
		return fmt.Errorf("read migrations: %w", err)
	}
	if _, err := provider.Up(ctx); err != nil {
		return fmt.Errorf("migrate database: %w", err)
	}
	return nil
}

// older reports whether version a comes before version b.
func older(a, b [3]int) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}
