package mesh

// ReadTestFile reads a mesh of the outside collection.
var ReadTestFile = readFile
