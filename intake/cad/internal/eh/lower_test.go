package eh

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/checks"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
)

// outcome is what a program did: what it logged, then its value or the exception that left it.
type outcome struct {
	Log    []int32
	Value  int32
	Raised int32 // tag + 1
}

// runLowered runs f0(3, 5) of a lowered drawn module.
func runLowered(t testing.TB, rt wazero.Runtime, src []byte) (outcome, int) {
	t.Helper()
	low, _, err := Lower(src, Options{Yield: "yield", Every: 3})
	if err != nil {
		t.Fatal(err)
	}
	var o outcome
	yields := 0
	ctx := context.Background()
	host, err := rt.NewHostModuleBuilder("h").
		NewFunctionBuilder().WithFunc(func(v int32) { o.Log = append(o.Log, v) }).Export("log").
		NewFunctionBuilder().WithFunc(func() int32 { yields++; return 0 }).Export("yield").
		Instantiate(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer host.Close(ctx)
	mod, err := rt.Instantiate(ctx, low)
	if err != nil {
		t.Fatal(err)
	}
	defer mod.Close(ctx)
	r, err := mod.ExportedFunction("f0").Call(ctx, 3, 5)
	if err != nil {
		t.Fatal(err)
	}
	o.Raised = int32(mod.ExportedGlobal(Flag).Get())
	o.Value = int32(r[0])
	if o.Raised != 0 {
		o.Value = int32(mod.ExportedGlobal(Value).Get())
	}
	return o, yields
}

// The reference is the JavaScript engine of node, which executes the legacy instructions themselves.
const reference = `
const cases = JSON.parse(require('fs').readFileSync(0, 'utf8'));
const out = cases.map(c => {
  const log = [];
  const inst = new WebAssembly.Instance(new WebAssembly.Module(Buffer.from(c, 'base64')),
    {h: {log: v => { log.push(v); }, yield: () => 0}}).exports;
  try { return {Log: log, Value: inst.f0(3, 5), Raised: 0}; }
  catch (e) {
    if (!(e instanceof WebAssembly.Exception)) throw e;
    const tag = e.is(inst.t0) ? 0 : 1;
    return {Log: log, Value: e.getArg(tag ? inst.t1 : inst.t0, 0), Raised: tag + 1};
  }
});
console.log(JSON.stringify(out));`

func TestSameAnswersAsAnEngineWithExceptions(t *testing.T) {
	node, err := exec.LookPath("node")
	if err != nil {
		checks.Missing(t, "node")
	}
	const n = 400
	cases := make([][]byte, n)
	for i := range cases {
		cases[i] = drawn(uint64(i))
	}
	in, _ := json.Marshal(cases) // base64
	cmd := exec.Command(node, "-e", reference)
	cmd.Stdin = bytes.NewReader(in)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	answer, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v\n%s", err, stderr.String())
	}
	var want []outcome
	if err := json.Unmarshal(answer, &want); err != nil {
		t.Fatal(err)
	}
	rt := wazero.NewRuntime(context.Background())
	defer rt.Close(context.Background())
	raised, caught, yields := 0, 0, 0
	for i, c := range cases {
		got, y := runLowered(t, rt, c)
		if fmt.Sprint(got) != fmt.Sprint(want[i]) {
			t.Fatalf("seed %d:\n got %v\nwant %v\n%s", i, got, want[i], base64.StdEncoding.EncodeToString(c))
		}
		if got.Raised != 0 {
			raised++
		}
		if len(got.Log) > 0 {
			caught++
		}
		yields += y
	}
	if raised < n/20 || raised > n*19/20 || yields == 0 {
		t.Errorf("the drawn programs show little: %d of %d raised, %d logged, %d yields", raised, n, caught, yields)
	}
	t.Logf("%d programs, %d ended by an exception, %d logged, %d yields", n, raised, caught, yields)
}

// by hand: a module with one function f0(a, b) -> i32 in the frame of the drawn ones.
func byHand(body ...byte) []byte {
	m := drawn(0)
	// Replace the code section, which is the last, by one whose other functions give 0.
	i := bytes.LastIndex(m, []byte{secCode})
	for ; i > 0; i-- {
		if m[i] == secCode {
			q := &reader{b: m, p: i + 1}
			if n := q.u32(); q.p+int(n) == len(m) {
				break
			}
		}
	}
	code := []byte{5}
	code = putU32(code, uint32(len(body)+2))
	code = append(append(append(code, 0), body...), opEnd)
	for range 4 {
		code = append(code, 4, 0, opI32Const, 0, opEnd)
	}
	out := append([]byte(nil), m[:i]...)
	out = putU32(append(out, secCode), uint32(len(code)))
	return append(out, code...)
}

func TestLowerByHand(t *testing.T) {
	rt := wazero.NewRuntime(context.Background())
	defer rt.Close(context.Background())
	throw := func(tag, v byte) []byte { return []byte{opI32Const, v, opThrow, tag} }
	cat := func(parts ...[]byte) (b []byte) {
		for _, p := range parts {
			b = append(b, p...)
		}
		return b
	}
	for _, c := range []struct {
		name string
		body []byte
		want outcome
	}{
		{"plain value", []byte{opI32Const, 7}, outcome{Value: 7}},
		{"throw leaves", throw(1, 9), outcome{Value: 9, Raised: 2}},
		{"caught, payload is the value", cat([]byte{opTry, typeI32}, throw(0, 11), []byte{opCatch, 0, opEnd}), outcome{Value: 11}},
		{"other tag passes", cat([]byte{opTry, typeI32}, throw(1, 12), []byte{opCatch, 0, opEnd}), outcome{Value: 12, Raised: 2}},
		{"second arm", cat([]byte{opTry, typeI32}, throw(1, 13), []byte{opCatch, 0, opCatch, 1, opEnd}), outcome{Value: 13}},
		{"branch with a value out of the body", []byte{opTry, typeI32, opI32Const, 3, opBr, 0, opCatchAll, opI32Const, 4, opEnd}, outcome{Value: 3}},
		{"branch with a value out of an arm", cat([]byte{opTry, typeI32}, throw(0, 1), []byte{opCatchAll, opI32Const, 5, opBr, 0, opEnd}), outcome{Value: 5}},
		{"branch to the function", []byte{opTry, typeI32, opI32Const, 6, opBr, 1, opCatchAll, opI32Const, 4, opEnd}, outcome{Value: 6}},
		{"rethrow of the outer from the inner catch",
			cat([]byte{opTry, typeI32}, throw(0, 21), []byte{opCatch, 0, opDrop, opTry, typeI32}, throw(1, 22),
				[]byte{opCatch, 1, opDrop, opRethrow, 1, opEnd, opEnd}), outcome{Value: 21, Raised: 1}},
		{"rethrow of the inner, caught outside",
			cat([]byte{opTry, typeI32, opTry, typeI32}, throw(0, 31), []byte{opCatch, 0, opDrop, opRethrow, 0, opEnd, opCatchAll, opI32Const, 8, opEnd}), outcome{Value: 8}},
		{"delegate past the inner catch",
			cat([]byte{opTry, typeI32, opTry, typeI32, opTry, typeI32}, throw(0, 41), []byte{opDelegate, 1, opCatchAll, opI32Const, 1, opEnd, opCatch, 0, opEnd}), outcome{Value: 41}},
		{"delegate to the function", cat([]byte{opTry, typeI32, opTry, typeI32}, throw(0, 42), []byte{opDelegate, 1, opCatchAll, opI32Const, 1, opEnd}), outcome{Value: 42, Raised: 1}},
		{"operands under a raising call are dropped",
			cat([]byte{opTry, typeI32, opI32Const, 1, opI32Const, 2}, throw(0, 43), []byte{0x6a, opCatch, 0, opEnd}), outcome{Value: 43}},
		{"try without a catch", []byte{opTry, typeI32, opI32Const, 44, opEnd}, outcome{Value: 44}},
		{"table of branches out of a try",
			[]byte{opBlock, typeEmpty, opTry, typeEmpty, opLocalGet, 0, opBrTable, 1, 0, 1, opCatchAll, opEnd, opI32Const, 1, opReturn, opEnd, opI32Const, 50}, outcome{Value: 50}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _ := runLowered(t, rt, byHand(c.body...))
			if fmt.Sprint(got) != fmt.Sprint(c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}

func TestMalformedIsAnError(t *testing.T) {
	good := drawn(1)
	for _, c := range []struct {
		name string
		src  []byte
		want string
	}{
		{"empty", nil, "cut off"},
		{"other magic", []byte("\x00asm\x02\x00\x00\x00"), "not a WebAssembly module"},
		{"cut", good[:len(good)-3], "cut off"},
		{"branch too far", byHand(opI32Const, 0, opThrow, 0, opBr, 9), "leaves its function"},
		{"catch outside", byHand(opI32Const, 0, opThrow, 0, opCatchAll), "without its try"},
		{"catch after catch_all", byHand(opTry, typeEmpty, opCatchAll, opCatchAll, opEnd), "without its try"},
		{"delegate outside", byHand(opI32Const, 0, opThrow, 0, opDelegate, 0), "delegate"},
		{"delegate too far", byHand(opTry, typeEmpty, opI32Const, 0, opThrow, 0, opDelegate, 7), "delegate leaves"},
		{"rethrow outside", byHand(opRethrow, 0), "rethrow outside"},
		{"else outside", byHand(opTry, typeEmpty, opElse, opEnd), "else"},
		{"unknown tag", byHand(opI32Const, 0, opThrow, 5), "tag 5"},
		{"unknown function", byHand(opCall, 99), "function 99"},
		{"two ends", byHand(opI32Const, 0, opThrow, 0, opEnd), "after the end"},
		{"threads", byHand(opAtomic, 0), "not supported"},
		{"endless number", append([]byte(magic), secType, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80), "too long"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, _, err := Lower(c.src, Options{Yield: "yield"}); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want …%s…", err, c.want)
			}
		})
	}
	if _, _, err := Lower(good, Options{Yield: "nobody"}); err == nil {
		t.Error("a yield that is not imported passed")
	}
}

// The kernel as it is fetched: the pass takes all of it, and the result validates and compiles.
func TestKernelLowers(t *testing.T) {
	src, err := os.ReadFile(filepath.Join(checks.Root(), "node_modules", "occt-import-js", "dist", "occt-import-js.wasm"))
	if err != nil {
		checks.Missing(t, "the CAD kernel (npm ci)")
	}
	low, st, err := Lower(src, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if st.Functions < 20000 || st.Tries == 0 || st.Throws == 0 {
		t.Errorf("met %+v", st)
	}
	t.Logf("%+v, %d bytes to %d", st, len(src), len(low))
}

func FuzzLower(f *testing.F) {
	for i := range uint64(6) {
		f.Add(drawn(i))
	}
	f.Add(byHand(opTry, typeI32, opI32Const, 1, opThrow, 0, opCatch, 0, opEnd))
	f.Add([]byte(magic))
	rt := wazero.NewRuntimeWithConfig(context.Background(), wazero.NewRuntimeConfigInterpreter().WithCoreFeatures(api.CoreFeaturesV2))
	f.Fuzz(func(t *testing.T, src []byte) {
		low, _, err := Lower(src, Options{})
		if err != nil {
			return
		}
		// Whatever comes out is shaped as a module: reading it again meets no cut or bad count.
		if _, _, err := Lower(low, Options{}); err != nil {
			t.Errorf("the lowered module does not read: %v", err)
		}
		_, _ = rt.CompileModule(context.Background(), low)
	})
}

func BenchmarkLowerKernel(b *testing.B) {
	src, err := os.ReadFile(filepath.Join(checks.Root(), "node_modules", "occt-import-js", "dist", "occt-import-js.wasm"))
	if err != nil {
		checks.Missing(b, "the CAD kernel (npm ci)")
	}
	b.SetBytes(int64(len(src)))
	for b.Loop() {
		if _, _, err := Lower(src, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
