package glb

// The part of the glTF document that matters here. Indices are pointers where 0 and "none" differ.
type document struct {
	Asset              asset        `json:"asset"`
	ExtensionsUsed     []string     `json:"extensionsUsed,omitempty"`
	ExtensionsRequired []string     `json:"extensionsRequired,omitempty"`
	Scene              *int         `json:"scene,omitempty"`
	Scenes             []scene      `json:"scenes,omitempty"`
	Nodes              []node       `json:"nodes,omitempty"`
	Meshes             []gmesh      `json:"meshes,omitempty"`
	Materials          []material   `json:"materials,omitempty"`
	Textures           []texture    `json:"textures,omitempty"`
	Samplers           []sampler    `json:"samplers,omitempty"`
	Images             []gimage     `json:"images,omitempty"`
	Accessors          []accessor   `json:"accessors,omitempty"`
	BufferViews        []bufferView `json:"bufferViews,omitempty"`
	Buffers            []buffer     `json:"buffers,omitempty"`
}

type asset struct {
	Version   string `json:"version"`
	Generator string `json:"generator,omitempty"`
}

type scene struct {
	Nodes []int `json:"nodes,omitempty"`
}

type node struct {
	Name        string    `json:"name,omitempty"`
	Children    []int     `json:"children,omitempty"`
	Mesh        *int      `json:"mesh,omitempty"`
	Skin        *int      `json:"skin,omitempty"`
	Matrix      []float64 `json:"matrix,omitempty"` // column by column
	Translation []float64 `json:"translation,omitempty"`
	Rotation    []float64 `json:"rotation,omitempty"` // x y z w
	Scale       []float64 `json:"scale,omitempty"`
}

type gmesh struct {
	Name       string      `json:"name,omitempty"`
	Primitives []primitive `json:"primitives"`
	Weights    []float64   `json:"weights,omitempty"`
}

type primitive struct {
	Attributes map[string]int `json:"attributes"`
	Indices    *int           `json:"indices,omitempty"`
	Material   *int           `json:"material,omitempty"`
	Mode       *int           `json:"mode,omitempty"`
}

type material struct {
	Name      string `json:"name,omitempty"`
	PBR       *pbr   `json:"pbrMetallicRoughness,omitempty"`
	AlphaMode string `json:"alphaMode,omitempty"`
}

type pbr struct {
	BaseColor []float64   `json:"baseColorFactor,omitempty"` // linear
	Texture   *textureRef `json:"baseColorTexture,omitempty"`
	Metallic  *float64    `json:"metallicFactor,omitempty"`
	Roughness *float64    `json:"roughnessFactor,omitempty"`
}

type textureRef struct {
	Index      int `json:"index"`
	TexCoord   int `json:"texCoord,omitempty"`
	Extensions *struct {
		Transform *textureTransform `json:"KHR_texture_transform"`
	} `json:"extensions,omitempty"`
}

type textureTransform struct {
	Offset   []float64 `json:"offset"`
	Rotation float64   `json:"rotation"`
	Scale    []float64 `json:"scale"`
	TexCoord *int      `json:"texCoord"`
}

type texture struct {
	Sampler *int `json:"sampler,omitempty"`
	Source  *int `json:"source,omitempty"`
}

type sampler struct {
	WrapS int `json:"wrapS,omitempty"`
	WrapT int `json:"wrapT,omitempty"`
}

type gimage struct {
	URI        string `json:"uri,omitempty"`
	BufferView *int   `json:"bufferView,omitempty"`
}

type accessor struct {
	BufferView    *int      `json:"bufferView,omitempty"`
	ByteOffset    int64     `json:"byteOffset,omitempty"`
	ComponentType int       `json:"componentType"`
	Normalized    bool      `json:"normalized,omitempty"`
	Count         int64     `json:"count"`
	Type          string    `json:"type"`
	Min           []float64 `json:"min,omitempty"`
	Max           []float64 `json:"max,omitempty"`
	Sparse        *sparse   `json:"sparse,omitempty"`
}

type sparse struct {
	Count   int64 `json:"count"`
	Indices struct {
		BufferView    int   `json:"bufferView"`
		ByteOffset    int64 `json:"byteOffset"`
		ComponentType int   `json:"componentType"`
	} `json:"indices"`
	Values struct {
		BufferView int   `json:"bufferView"`
		ByteOffset int64 `json:"byteOffset"`
	} `json:"values"`
}

type bufferView struct {
	Buffer     int    `json:"buffer"`
	ByteOffset int64  `json:"byteOffset,omitempty"`
	ByteLength int64  `json:"byteLength"`
	ByteStride int64  `json:"byteStride,omitempty"`
	Target     int    `json:"target,omitempty"`
	Name       string `json:"name,omitempty"`
}

type buffer struct {
	URI        string `json:"uri,omitempty"`
	ByteLength int64  `json:"byteLength"`
}

// Component types and topology modes by their numbers in the standard.
const (
	typeByte, typeUbyte, typeShort, typeUshort, typeUint, typeFloat = 5120, 5121, 5122, 5123, 5125, 5126

	modeTriangles, modeStrip, modeFan = 4, 5, 6

	targetArray, targetElements = 34962, 34963
)
