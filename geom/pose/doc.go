// Package pose finds how a part may lie in a build: resting poses and sampled directions, each with its height,
// footprint, overhang, support, roughness and stability, and a search over them by the client's wishes.
//
// For one build direction u (up in the part's own coordinates) the overhanging facets are those whose normal lies in a
// cone about -u, and overhang area and support volume down to the plate are polynomials in u: area = ΣA,
// support = -u·(ΣA n cᵀ)·u + (u·ΣA n)·lowest. Facets are kept in a tree over the sphere of normals with these sums, and
// only nodes cut by the cone's rim are opened: exact, and far less work than facets times directions.
//
// Resting poses are found by letting the part roll: from a direction the face of the convex hull below the centroid is
// found, its normal is the next direction, and so on until the centroid lies above the face. Each step lowers the
// centroid, so it ends at a pose in which the part stands.
//
// Units: mm, mm², mm³, degrees. Promises: sums agree with the brute force (TestTreeEqualsBruteForce); the same bits on
// one core or many (TestSameBitsOnAnyCores); a box has six resting poses (TestRestingPoses).
//
// Not here: layers and their supports in detail (geom/solid), placing on a platform (shopfloor/nest).
package pose
