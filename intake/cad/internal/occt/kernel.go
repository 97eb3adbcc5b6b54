package occt

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"firstoff/intake/cad/internal/eh"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
	"github.com/tetratelabs/wazero/experimental/table"
)

// Config of New.
type Config struct {
	Wasm, Glue []byte // the build and its loader script
	Cache      string // folder for what is compiled; "" compiles anew each time
	Memory     uint32 // the guest's cap, bytes
	Threads    int    // that compile; 0 means 1
}

// Kernel is the compiled build. It reads one file at a time.
type Kernel struct {
	cfg     Config
	glue    *glue
	rt      wazero.Runtime
	mod     wazero.CompiledModule
	session *session
}

// New compiles the build, or loads it compiled from the cache.
func New(ctx context.Context, cfg Config) (*Kernel, error) {
	cfg.Memory = max(cfg.Memory, 32<<20) / pageSize * pageSize
	k := &Kernel{cfg: cfg}
	var err error
	if k.glue, err = readGlue(cfg.Glue); err != nil {
		return nil, err
	}
	low, err := lowered(cfg.Wasm, k.glue.short(yieldImport), cfg.Cache)
	if err != nil {
		return nil, err
	}
	rc := wazero.NewRuntimeConfig().WithCoreFeatures(api.CoreFeaturesV2).WithMemoryLimitPages(cfg.Memory / pageSize).WithDebugInfoEnabled(false)
	if cfg.Cache != "" {
		cache, err := wazero.NewCompilationCacheWithDir(cfg.Cache)
		if err != nil {
			return nil, fmt.Errorf("occt: cache: %w", err)
		}
		rc = rc.WithCompilationCache(cache)
	}
	k.rt = wazero.NewRuntimeWithConfig(ctx, rc)
	if k.mod, err = k.rt.CompileModule(experimental.WithCompilationWorkers(ctx, max(cfg.Threads, 1)), low); err != nil {
		_ = k.rt.Close(ctx)
		return nil, fmt.Errorf("occt: compiling: %w", err)
	}
	if err = k.provide(ctx); err != nil {
		_ = k.rt.Close(ctx)
		return nil, err
	}
	return k, nil
}

// Close lets go of the compiled code.
func (k *Kernel) Close(ctx context.Context) { _ = k.rt.Close(ctx) }

// provide binds the host's functions to the build's imports.
func (k *Kernel) provide(ctx context.Context) error {
	all := imports()
	hosts := map[string]wazero.HostModuleBuilder{}
	for _, f := range k.mod.ImportedFunctions() {
		module, short, _ := f.Import()
		b := hosts[module]
		if b == nil {
			b = k.rt.NewHostModuleBuilder(module)
			hosts[module] = b
		}
		name := k.glue.imports[short]
		h, ok := all[name]
		switch {
		case !ok:
			h.fn = func(*session, api.Module, []uint64) { panic(guestFault("the function " + name)) }
		case name == "__embind_register_bigint": // any arity
		case len(h.params) != len(f.ParamTypes()) || len(h.results) != len(f.ResultTypes()):
			return fmt.Errorf("occt: this build calls %s with %d arguments, not %d", name, len(f.ParamTypes()), len(h.params))
		}
		b.NewFunctionBuilder().WithGoModuleFunction(k.bind(h), f.ParamTypes(), f.ResultTypes()).Export(short)
	}
	for _, b := range hosts {
		if _, err := b.Instantiate(ctx); err != nil {
			return fmt.Errorf("occt: imports: %w", err)
		}
	}
	return nil
}

// passVersion changes when eh writes different code.
const passVersion = 1

// lowered is the build with its exceptions lowered, from the cache when it is there.
func lowered(wasm []byte, yield, cache string) ([]byte, error) {
	low := func() ([]byte, error) {
		b, _, err := eh.Lower(wasm, eh.Options{Yield: yield})
		return b, err
	}
	if cache == "" {
		return low()
	}
	id := sha256.Sum256(wasm)
	path := filepath.Join(cache, fmt.Sprintf("lowered-%d-%s", passVersion, hex.EncodeToString(id[:])))
	if b, err := os.ReadFile(path); err == nil && len(b) > sha256.Size {
		body := b[:len(b)-sha256.Size]
		if sum := sha256.Sum256(body); string(sum[:]) == string(b[len(body):]) {
			return body, nil
		}
	}
	b, err := low()
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b)
	if err := writeWhole(path, append(b[:len(b):len(b)], sum[:]...)); err != nil {
		return nil, fmt.Errorf("occt: cache: %w", err)
	}
	return b, nil
}

// writeWhole writes beside and renames, so that a reader never sees half a file.
func writeWhole(path string, b []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), "part-*")
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// Options of Read.
type Options struct {
	Format string  // "step", "iges" or "brep"
	Chord  float64 // largest distance between triangles and surface, mm; when 0, Ratio counts
	Ratio  float64 // the same as a share of the mean edge of each part's box
	Angle  float64 // largest angle between neighbouring chords, rad
	// Numbers bounds the answer: coordinates, indices, normals together. 0 means a quarter of the memory cap.
	Numbers int64
}

// What a file can end in besides a model.
var (
	ErrUnreadable = errors.New("the kernel found nothing it can read")
	ErrException  = errors.New("the kernel gave up with an exception")
	ErrMemory     = errors.New("the kernel needed more memory than its cap")
	ErrAnswer     = errors.New("the triangles are more than their cap")
	ErrTrap       = errors.New("the kernel stopped")
	errSwap       = errors.New("occt: the vector was not found")
)

// Read reads one file in an instance of its own.
func (k *Kernel) Read(ctx context.Context, data []byte, o Options) (*Model, error) {
	if len(data) >= bulkMin {
		m, err := k.read(ctx, data, o, true)
		if !errors.Is(err, errSwap) {
			return m, err
		}
	}
	return k.read(ctx, data, o, false)
}

func (k *Kernel) read(ctx context.Context, data []byte, o Options, whole bool) (*Model, error) {
	s := &session{ctx: ctx, h: newHandles(), funcs: map[string]*boundFunc{}, files: map[string]*memFile{},
		open: map[uint32]*openFile{}, memory: k.cfg.Memory, numbers: o.Numbers}
	if s.numbers == 0 {
		s.numbers = int64(k.cfg.Memory) / 4
	}
	shown := data
	if whole {
		s.bulk = newBulk(data)
		shown = s.bulk.stub
	}
	k.session = s
	defer func() { k.session = nil }()
	ictx := ctx
	if ownMemory {
		ictx = experimental.WithMemoryAllocator(ctx, experimental.MemoryAllocatorFunc(newMemory))
	}
	mod, err := k.rt.InstantiateModule(ictx, k.mod, wazero.NewModuleConfig().WithName("").WithStartFunctions())
	if err != nil {
		return nil, fmt.Errorf("occt: start: %w", err)
	}
	defer func() { _ = mod.Close(context.WithoutCancel(ctx)) }()
	s.malloc = mod.ExportedFunction(k.glue.exports["_malloc"])
	s.free = mod.ExportedFunction(k.glue.exports["_free"])
	start := mod.ExportedFunction(k.glue.exports["___wasm_call_ctors"])
	if s.malloc == nil || s.free == nil || start == nil {
		return nil, errors.New("occt: this build lacks its allocator")
	}
	if _, err := start.Call(ctx); err != nil {
		return nil, fmt.Errorf("occt: start: %w", err)
	}
	f := s.funcs["ReadFile"]
	if f == nil || f.args != 4 {
		return nil, errors.New("occt: this build has no ReadFile(format, content, parameters)")
	}
	params := &object{}
	params.set("linearUnit", value{k: kString, p: "millimeter"})
	how, deflection := "bounding_box_ratio", o.Ratio
	if o.Chord > 0 {
		how, deflection = "absolute_value", o.Chord
	}
	params.set("linearDeflectionType", value{k: kString, p: how})
	params.set("linearDeflection", number(deflection))
	params.set("angularDeflection", number(o.Angle))
	// The invoker takes the function, a std::string as (length, bytes), and two handles; it gives a handle.
	invoke := table.LookupFunction(mod, 0, f.invoker, i32s(4), i32s(1))
	format := s.giveString(mod.Memory(), o.Format)
	r, err := invoke.Call(ctx, uint64(f.fn), uint64(format),
		uint64(s.h.put(value{k: kBytes, p: shown})), uint64(s.h.put(value{k: kObject, p: params})))
	model := &Model{}
	if whole && !s.bulk.done && ctx.Err() == nil {
		return nil, errSwap
	}
	switch flag := mod.ExportedGlobal(eh.Flag); {
	case ctx.Err() != nil:
		err = ctx.Err()
	case s.refused: // also when it went on: what it could not hold it left out
		err = ErrMemory
	case s.tooMuch:
		err = ErrAnswer
	case err != nil:
		first, _, _ := strings.Cut(err.Error(), "\n")
		err = fmt.Errorf("%w: %s", ErrTrap, first)
	case flag.Get() != 0:
		err = ErrException
	default:
		top, ok := s.h.get(uint32(r[0])).p.(*object)
		if !ok {
			err = ErrUnreadable
			break
		}
		if success, _ := top.get("success"); success.f == 0 {
			err = ErrUnreadable
			break
		}
		model = readModel(top)
	}
	model.Log, model.Peak = s.log.String(), mod.Memory().Size()
	return model, err
}
