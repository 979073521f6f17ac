// Package pwa holds the built web app, so that the server is one file.
package pwa

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// Files returns the built web app, rooted at its index.html. It is empty in a
// checkout where the app has not been built yet.
func Files() fs.FS {
	app, err := fs.Sub(dist, "dist/app")
	if err != nil {
		panic(err) // the name is a constant and valid
	}
	return app
}
