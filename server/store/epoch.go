package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/google/uuid"
)

// epochFile stands beside the database and is no part of its backup: a database
// that is behind it was restored.
type epochFile struct {
	Epoch string `json:"epoch"`
	Head  int64  `json:"head"` // numbers given out by all workshops together when it was written
}

// epochOf returns the epoch of the database in folder, a new one if the
// database is behind what the file remembers.
func epochOf(ctx context.Context, q querier, folder string) (string, error) {
	path := filepath.Join(folder, "epoch.json")
	var head int64
	if err := q.row(ctx, "SELECT COALESCE(SUM(seq), 0) FROM workshop").Scan(&head); err != nil {
		return "", fmt.Errorf("read head: %w", err)
	}
	var held epochFile
	raw, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return "", fmt.Errorf("read epoch: %w", err)
	default:
		// A file that cannot be read is as good as none: the epoch is then new,
		// which costs the phones one fresh download and loses nothing.
		if json.Unmarshal(raw, &held) != nil {
			held = epochFile{}
		}
	}
	if held.Epoch == "" || held.Head > head {
		held.Epoch = uuid.NewString()
	}
	held.Head = head
	raw, err = json.Marshal(held)
	if err != nil {
		return "", fmt.Errorf("write epoch: %w", err)
	}
	if err := writeFile(path, raw); err != nil {
		return "", fmt.Errorf("write epoch: %w", err)
	}
	return held.Epoch, nil
}

// writeFile replaces a file in one step, so that a crash leaves the old or the new one.
func writeFile(path string, raw []byte) error {
	next := path + ".next"
	if err := os.WriteFile(next, raw, 0o600); err != nil {
		return err
	}
	return os.Rename(next, path)
}
