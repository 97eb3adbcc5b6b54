//go:build !linux

package occt

import "github.com/tetratelabs/wazero/experimental"

// Elsewhere the engine's own memory is used: it copies when it grows.
func newMemory(_, _ uint64) experimental.LinearMemory { return nil }

const ownMemory = false
