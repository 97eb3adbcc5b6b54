// Package demo is a made-up bureau: its catalogue, clients, parts and present workload. Everything in it is invented
// and serves only to show and try the program.
package demo

import (
	_ "embed"

	"firstoff/shop"
)

//go:embed shop.yaml
var shopYAML []byte

//go:embed allround.yaml
var allRoundYAML []byte

// AllRound is the catalogue of a second made-up bureau with a machine of its own for every family the first one buys from partners: agent and
// heat, laser and mask vats, laser melting, binder jetting, a casting cell.
func AllRound() *shop.Catalogue {
	c, err := shop.Load("allround.yaml", allRoundYAML)
	if err != nil {
		panic(err)
	}
	return c
}

// ShopYAML is the text of the made-up shop's catalogue; a good start for one's own.
func ShopYAML() []byte { return append([]byte(nil), shopYAML...) }

// Shop is the made-up shop's catalogue. It panics if the embedded text is not valid, which a test excludes.
func Shop() *shop.Catalogue {
	c, err := shop.Load("shop.yaml", shopYAML)
	if err != nil {
		panic(err)
	}
	return c
}
