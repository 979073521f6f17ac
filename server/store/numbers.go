package store

import (
	"context"
	"fmt"

	"brimline/sync/merge"
)

// numbers hands out a workshop's next numbers inside the writing transaction.
// The counter row is bumped first and so held to the commit: on any database
// the numbers become visible in order, and a reader's cursor misses none.
type numbers struct {
	tenant Tenant
	next   int64 // the number take gives next
	end    int64 // one past the last that was reserved
	chain  string
	rows   [][]any
}

func beginNumbers(tx *writing, t Tenant, count int) (*numbers, error) {
	n := &numbers{tenant: t}
	err := tx.row(context.Background(), "UPDATE workshop SET seq = seq + $1 WHERE id = $2 RETURNING seq, chain", count, t.workshop).Scan(&n.end, &n.chain)
	if err != nil {
		return nil, fmt.Errorf("number changes of workshop %q: %w", t.workshop, err)
	}
	n.next, n.end = n.end-int64(count)+1, n.end+1
	return n, nil
}

// take returns the next number for a change and links it to the chain.
func (n *numbers) take(id, bodyHash string) int64 {
	seq := n.next
	n.next++
	n.chain = merge.Chain(n.chain, id, bodyHash)
	n.rows = append(n.rows, []any{n.tenant.workshop, id, bodyHash, seq, n.chain})
	return seq
}

// finish writes the numbered rows. Every number that was reserved must be taken.
func (n *numbers) finish(tx *writing) error {
	if n.next != n.end {
		return fmt.Errorf("number changes of workshop %q: reserved to %d, took to %d", n.tenant.workshop, n.end, n.next)
	}
	if err := tx.insert("INSERT INTO change (workshop, id, body_hash, seq, chain) VALUES", 5, n.rows); err != nil {
		return fmt.Errorf("insert changes of workshop %q: %w", n.tenant.workshop, err)
	}
	if err := tx.exec("UPDATE workshop SET chain = $1 WHERE id = $2", n.chain, n.tenant.workshop); err != nil {
		return fmt.Errorf("chain changes of workshop %q: %w", n.tenant.workshop, err)
	}
	return nil
}
