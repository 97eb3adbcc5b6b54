// Package blob keeps files by their digest: in a folder, or in a store that speaks the S3 protocol. What is kept is
// never changed, so putting the same content twice keeps it once. Both places pass one suite, blob/blobtest.
//
// A file in a folder lies at sha256/ab/abcdef…, so a person can check one with sha256sum. It is written beside its
// place, synced, and renamed, then the folder is synced: once Put has returned, the file is there also after the
// power failed. (A ready-made folder driver exists in the library used for S3; it neither syncs nor moves, so
// each upload would be written twice and promised too early.)
//
// To S3 a file goes after it has been received whole: its name is its digest, which is known only then, and a
// client's connection that breaks leaves nothing in the bucket. Up to 8 MiB wait in memory, larger ones in a
// temporary file. The store's own checks differ by vendor, so the digest stays the judge: Verify reads again.
//
// Promises: a reader that fails or a context that ends leaves nothing behind (blobtest "failing reader",
// "cancelled"); what Open gives is what was put, at any offset (blobtest "seek").
package blob
