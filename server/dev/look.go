package main

import (
	"context"
	"os"
)

// look takes screenshots of every screen for people to look at.
func look(ctx context.Context, t *tree, _ []string) error {
	c := &checker{tree: t}
	env, err := c.browserEnv(ctx)
	if err != nil {
		return err
	}
	folder := os.Getenv("LOOK")
	if folder == "" {
		folder = t.path(".tmp", "look")
	}
	t.say("screenshots go to %s", t.short(folder))
	return t.run(ctx, step{dir: t.path("pwa"), env: append(env, "LOOK="+folder),
		argv: []string{"node", "--test", "--test-reporter=spec", t.path("pwa", "e2e", "look.test.mjs")}})
}
