// Package digest is the identity of a file: the SHA-256 of its content, written as 64 hex digits.
package digest

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
)

// Digest is 64 lower-case hex digits, or empty for "none".
type Digest string

// Of is the digest of b.
func Of(b []byte) Digest {
	s := sha256.Sum256(b)
	return Digest(hex.EncodeToString(s[:]))
}

// New is a running hash; Sum turns it into a Digest.
func New() hash.Hash { return sha256.New() }

// Sum reads the digest off a running hash made by New.
func Sum(h hash.Hash) Digest { return Digest(hex.EncodeToString(h.Sum(nil))) }

// Valid says whether d has the form of a digest.
func (d Digest) Valid() bool {
	if len(d) != 64 {
		return false
	}
	for _, c := range d {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// Short is the first twelve digits, for people.
func (d Digest) Short() string {
	if len(d) < 12 {
		return string(d)
	}
	return string(d[:12])
}
