// Package demo is a made-up bureau: its catalogue, clients, parts and present workload. Everything in it is invented
// and serves only to show and try the program.
package demo

import (
	_ "embed"

	"firstoff/shop"
)

//go:embed shop.yaml
var shopYAML []byte

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
